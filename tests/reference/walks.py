"""Walks over a sonde, and scipy's fit of a dipole to what was seen on one.

Written from the textbook formula (Jackson, Classical Electrodynamics, 3rd ed., eq. 5.56) and from the statement of
the problem, in another language and with another solver than the core's:

unknowns   place (m), moment (A m2), relative excess gain of the upper node; and, where poses are uncertain, the shift
           of every look along every uncertain axis, as unknowns like any other, in units of its sigma
residuals  the six components of every look, in sigmas; every shift; the gain over its sigma

The solver is scipy.optimize.least_squares; nothing is eliminated, nothing is approximated.
"""

from dataclasses import dataclass, fields as members

import numpy as np
from scipy.optimize import least_squares

SCALE_NT = 100.0  # field of 1 A m2 at 1 m: mu0/(4 pi), in nanotesla
SOURCE = 7  # unknowns without the shifts
HUBER = 22.458  # upper 0.1 % point of chi-square with six degrees of freedom (scipy.stats)


@dataclass
class Looks:
    """What both nodes saw at N places: places and fields as the core takes them, one row a look."""

    at_m: np.ndarray  # N x 3, lower node
    upper_m: np.ndarray  # N x 3, from the lower node to the upper one
    fields_nt: np.ndarray  # N x 6, lower then upper
    sigma_nt: np.ndarray  # N x 2
    pose_sigma_m: np.ndarray  # N x 3

    def rounded(self):
        """As 32-bit floats, which is all the core is given."""
        single = {m.name: getattr(self, m.name).astype(np.float32).astype(float) for m in members(self)}
        return Looks(**single)

    def rows(self):
        """For a table: the fewest digits that restore every bit of a 32-bit float."""
        numbers = np.hstack([self.at_m, self.upper_m, self.fields_nt, self.sigma_nt, self.pose_sigma_m])
        return [[str(x) for x in row] for row in numbers.astype(np.float32)]


LOOK_HEADER = [f"at_{a}_m" for a in "xyz"] + [f"upper_{a}_m" for a in "xyz"]
LOOK_HEADER += [f"{node}_{a}_nt" for node in ("lower", "upper") for a in "xyz"]
LOOK_HEADER += ["lower_sigma_nt", "upper_sigma_nt"] + [f"pose_sigma_{a}_m" for a in "xyz"]


def node_field(at_m, place_m, moment):
    """Field of a dipole, nanotesla; works with complex numbers."""
    r = at_m - place_m
    r2 = np.sum(r * r, axis=-1, keepdims=True)
    mr = np.sum(r * moment, axis=-1, keepdims=True)
    return SCALE_NT * (3 * mr * r / r2 - moment) / r2**1.5


def fields_nt(source, at_m, upper_m):
    """Fields at both nodes, N x 6."""
    place_m, moment, gain = source[:3], source[3:6], source[6]
    upper = (1 + gain) * node_field(at_m + upper_m, place_m, moment)
    return np.hstack([node_field(at_m, place_m, moment), upper])


def slopes(source, at_m, upper_m):
    """Slopes of the six fields by the seven unknowns, N x 6 x 7."""
    place_m, moment, gain = source[:3], source[3:6], source[6]
    found = np.zeros((len(at_m), 6, SOURCE))
    for node, (points_m, factor) in enumerate([(at_m, 1.0), (at_m + upper_m, 1 + gain)]):
        rows = slice(3 * node, 3 * node + 3)
        r = points_m - place_m
        distance = np.sqrt(np.einsum("ni,ni->n", r, r))
        u = r / distance[:, None]
        mu = u @ moment
        um = u[:, :, None] * moment
        eye = np.eye(3)
        by_point = um + um.transpose(0, 2, 1) + mu[:, None, None] * (eye - 5 * u[:, :, None] * u[:, None, :])
        found[:, rows, :3] = (-3 * SCALE_NT * factor / distance**4)[:, None, None] * by_point
        by_moment = 3 * u[:, :, None] * u[:, None, :] - eye
        found[:, rows, 3:6] = (SCALE_NT * factor / distance**3)[:, None, None] * by_moment
        if node == 1:
            found[:, rows, 6] = np.einsum("nij,j->ni", found[:, rows, 3:6], moment) / factor
    return found


class Problem:
    """Residuals and their Jacobian for scipy.optimize.least_squares."""

    def __init__(self, looks, node_ratio_sigma, robust=False):
        self.looks, self.ratio_sigma, self.robust = looks, node_ratio_sigma, robust
        self.weights = np.repeat(1 / looks.sigma_nt, 3, axis=1)
        # Which look and axis each shift belongs to.
        self.of_look, self.of_axis = np.nonzero(looks.pose_sigma_m)
        self.shift_sigma_m = looks.pose_sigma_m[self.of_look, self.of_axis]
        # Every residual but the last, that of the gain, belongs to a look.
        self.groups = np.concatenate([np.repeat(np.arange(len(looks.at_m)), 6), self.of_look])
        self.members = np.equal.outer(np.arange(len(looks.at_m)), self.groups)

    def places(self, unknowns):
        at_m = self.looks.at_m.copy()
        at_m[self.of_look, self.of_axis] += self.shift_sigma_m * unknowns[SOURCE:]
        return at_m

    def plain_residuals(self, unknowns):
        model = fields_nt(unknowns[:SOURCE], self.places(unknowns), self.looks.upper_m)
        own = ((model - self.looks.fields_nt) * self.weights).ravel()
        return np.concatenate([own, unknowns[SOURCE:], [unknowns[6] / self.ratio_sigma]])

    def plain_jacobian(self, unknowns):
        count, shifts = len(self.looks.at_m), len(self.of_look)
        by_source = slopes(unknowns[:SOURCE], self.places(unknowns), self.looks.upper_m)
        by_source *= self.weights[:, :, None]
        jacobian = np.zeros((6 * count + shifts + 1, SOURCE + shifts))
        jacobian[: 6 * count, :SOURCE] = by_source.reshape(6 * count, SOURCE)
        # Moving the mast is moving the source the other way.
        own = -by_source[self.of_look, :, self.of_axis] * self.shift_sigma_m[:, None]
        rows = 6 * self.of_look[:, None] + np.arange(6)
        jacobian[rows, SOURCE + np.arange(shifts)[:, None]] = own
        jacobian[6 * count + np.arange(shifts), SOURCE + np.arange(shifts)] = 1
        jacobian[-1, 6] = 1 / self.ratio_sigma
        return jacobian

    def look_costs(self, residuals):
        """Each look's sum of squares, its shifts included."""
        return np.bincount(self.groups, residuals[:-1] ** 2)

    def _factors(self, residuals):
        """What turns residuals r of a look into such as have the sum of squares Huber(r.r), and its slope by r.r.

        Huber 1964, on looks and not on single numbers: s within the threshold c, 2 sqrt(c s) - c beyond.
        """
        s = self.look_costs(residuals)
        beyond = s > HUBER
        s = np.where(beyond, s, HUBER)
        loss = 2 * np.sqrt(HUBER * s) - HUBER
        factor = np.where(beyond, np.sqrt(loss / s), 1.0)
        slope = np.where(beyond, 0.5 * (np.sqrt(HUBER / s) / loss - 1 / s) * factor, 0.0)
        return factor[self.groups], slope[self.groups]

    def residuals(self, unknowns):
        plain = self.plain_residuals(unknowns)
        if self.robust:
            plain[:-1] *= self._factors(plain)[0]
        return plain

    def jacobian(self, unknowns):
        jacobian = self.plain_jacobian(unknowns)
        if self.robust:
            plain = self.plain_residuals(unknowns)
            factor, slope = self._factors(plain)
            by_look = (self.members * plain[:-1]) @ jacobian[:-1]
            jacobian[:-1] *= factor[:, None]
            jacobian[:-1] += (2 * plain[:-1] * slope)[:, None] * by_look[self.groups]
        return jacobian

    def weighted_information(self, unknowns):
        """J^T W J with Huber's weights: what the inverse covariance is taken for."""
        jacobian = self.plain_jacobian(unknowns)
        weights = np.ones(len(jacobian))
        if self.robust:
            costs = self.look_costs(self.plain_residuals(unknowns))
            weights[:-1] = np.sqrt(HUBER / np.maximum(costs, HUBER))[self.groups]
        return jacobian.T @ (weights[:, None] * jacobian)


@dataclass
class Fit:
    """scipy's solution: seven unknowns, their covariance, each look's sum of squares."""

    unknowns: np.ndarray
    covariance: np.ndarray
    look_costs: np.ndarray


def fit(looks, start, node_ratio_sigma, robust=False):
    """Fit to the last digit from a start of place and moment."""
    problem = Problem(looks, node_ratio_sigma, robust)
    first = np.concatenate([start, [0.0], np.zeros(len(problem.of_look))])
    tight = {"xtol": 1e-14, "ftol": 1e-14, "gtol": 1e-10, "x_scale": "jac", "max_nfev": 500}
    found = least_squares(problem.residuals, first, jac=problem.jacobian, **tight)
    assert found.success, found.message
    costs = problem.look_costs(problem.plain_residuals(found.x))
    covariance = np.linalg.inv(problem.weighted_information(found.x))[:SOURCE, :SOURCE]
    return Fit(found.x[:SOURCE], covariance, costs)


def lanes(length_m, apart_m, step_m, count=3, height_m=0.0):
    """Places along parallel lanes to the east, the middle one through the origin."""
    along = np.arange(-0.5 * length_m, 0.5 * length_m + 1e-9, step_m)
    aside = apart_m * (np.arange(count) - 0.5 * (count - 1))
    return np.array([[x, y, height_m] for y in aside for x in along])


def turned(places_m, angle_rad):
    """Turned about the vertical."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return places_m @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])


def moment_of(strength_a_m2, lay_rad, pitch_rad):
    level = np.cos(pitch_rad)
    return strength_a_m2 * np.array([level * np.cos(lay_rad), level * np.sin(lay_rad), np.sin(pitch_rad)])


def seen(random, source, true_at_m, upper_m, noise_nt, relative, pose_sigma_m):
    """Looks with noise: `noise_nt` and a share of the field, both in every component; places off by their sigma."""
    exact = fields_nt(source, true_at_m, upper_m)
    strength = np.stack([np.linalg.norm(exact[:, :3], axis=1), np.linalg.norm(exact[:, 3:], axis=1)], axis=1)
    sigma_nt = np.sqrt(noise_nt**2 + (relative * strength) ** 2)
    noisy = exact + np.repeat(sigma_nt, 3, axis=1) * random.normal(size=exact.shape)
    sigmas_m = np.broadcast_to(pose_sigma_m, true_at_m.shape)
    claimed_m = true_at_m + sigmas_m * random.normal(size=true_at_m.shape)
    return Looks(claimed_m, upper_m, noisy, sigma_nt, sigmas_m.astype(float))
