"""dipole.csv: the field of a magnetic dipole in free space, from two libraries that share no code.

Sources: magpylib 6.3.0 `misc.Dipole`; geoana 0.8.1 `em.static.MagneticDipoleWholeSpace`.
Both take mu0 from CODATA 2022, which differs from 4 pi 1e-7 by less than 1e-9 of itself.

magpylib is given the dipole along its own x axis and turned by an attitude, and the observer in
place; geoana is given the turned moment. So the attitude is checked too, not only the formula.
"""

import magpylib
import numpy as np
from geoana.em.static import MagneticDipoleWholeSpace
from scipy.spatial.transform import Rotation

from tables import write_csv

COUNT = 240


def main():
    random = np.random.default_rng(512)
    rows = []
    for k in range(COUNT):
        strength = 10 ** random.uniform(-2, 1)
        attitude = Rotation.random(rng=random)
        direction = random.normal(size=3)
        # Every twelfth point at an end of the range, the rest spread evenly in decades over it.
        distance = {0: 0.2, 6: 20.0}.get(k % 12) or 10 ** random.uniform(np.log10(0.2), np.log10(20.0))
        point = distance * direction / np.linalg.norm(direction)

        first = magpylib.misc.Dipole(moment=(strength, 0, 0), orientation=attitude).getB(point)
        moment = attitude.apply([strength, 0, 0])
        second = MagneticDipoleWholeSpace(
            location=np.zeros(3), orientation=moment / strength, moment=strength
        ).magnetic_flux_density(point[None, :])[0]
        gap = np.linalg.norm(first - second) / np.linalg.norm(first)
        assert gap < 1e-12, f"the libraries differ by {gap:g} at row {k}"
        rows.append([*moment, *point, *first, *second])

    header = [f"m{a}_a_m2" for a in "xyz"] + [f"{a}_m" for a in "xyz"]
    header += [f"magpylib_b{a}_t" for a in "xyz"] + [f"geoana_b{a}_t" for a in "xyz"]
    write_csv("dipole.csv", header, rows)
    print(f"dipole.csv: {len(rows)} rows")


if __name__ == "__main__":
    main()
