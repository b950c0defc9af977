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
from scipy.sparse import coo_array

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


def fields(source, nodes_m):
    """Fields at both nodes, nanotesla, of a source of place, moment and gain; works with complex numbers.

    Numbers of nodes, here and below, stand as 2 x 3 x N, so that numpy has long rows to work on.
    """
    place_m, moment, gain = source[:3], source[3:6], source[6]
    r = nodes_m - place_m[:, None]
    r2 = (r * r).sum(axis=1, keepdims=True)
    k = SCALE_NT / (r2 * np.sqrt(r2))
    mr = (moment @ r)[:, None] / r2
    found = k * (3 * mr * r - moment[:, None])
    found[1] *= 1 + gain
    return found


def slopes(source, nodes_m):
    """Slopes of the fields by the seven unknowns, 7 x 2 x 3 x N."""
    place_m, moment, gain = source[:3], source[3:6], source[6]
    r = nodes_m - place_m[:, None]
    r2 = (r * r).sum(axis=1)
    k = SCALE_NT / (r2 * np.sqrt(r2))
    k[1] *= 1 + gain
    g = -3 * k / r2
    mr = moment @ r
    found = np.empty((SOURCE, *nodes_m.shape))
    sideways = (5 * mr / r2)[:, None] * r
    for a in range(3):
        across = r[:, a : a + 1]
        found[a] = g[:, None] * (moment[:, None] * across + r * moment[a] - sideways * across)
        found[a, :, a] += g * mr
        found[3 + a] = (-g)[:, None] * across * r
        found[3 + a, :, a] -= k
    found[6, 0] = 0
    found[6, 1] = np.tensordot(moment, found[3:6, 1], 1) / (1 + gain)
    return found


def nodes(at_m, upper_m):
    """Places of both nodes."""
    return np.stack([at_m.T, (at_m + upper_m).T])


def in_rows(of_nodes):
    """2 x 3 x N as N x 6."""
    return of_nodes.reshape(6, -1).T


class Problem:
    """Residuals and their Jacobian for scipy.optimize.least_squares."""

    def __init__(self, looks, node_ratio_sigma, robust=False):
        self.looks, self.ratio_sigma, self.robust = looks, node_ratio_sigma, robust
        self.count = len(looks.at_m)
        self.nodes_m = nodes(looks.at_m, looks.upper_m)
        self.measured_nt = looks.fields_nt.T.reshape(2, 3, -1)
        self.weights = 1 / looks.sigma_nt.T[:, None]
        # Which look and axis each shift belongs to.
        self.of_look, self.of_axis = np.nonzero(looks.pose_sigma_m)
        self.shift_sigma_m = looks.pose_sigma_m[self.of_look, self.of_axis]
        # Every residual but the last, that of the gain, belongs to a look.
        self.groups = np.concatenate([np.tile(np.arange(self.count), 6), self.of_look])
        self.members = np.equal.outer(np.arange(self.count), self.groups)

    def places(self, unknowns):
        if not len(self.of_look):
            return self.nodes_m
        moved = self.nodes_m.copy()
        moved[:, self.of_axis, self.of_look] += self.shift_sigma_m * unknowns[SOURCE:]
        return moved

    def plain_residuals(self, unknowns):
        own = (fields(unknowns[:SOURCE], self.places(unknowns)) - self.measured_nt) * self.weights
        return np.concatenate([own.ravel(), unknowns[SOURCE:], [unknowns[6] / self.ratio_sigma]])

    def _slopes(self, unknowns):
        """Of the looks' residuals: by the source, 7 x 6N, and by each shift, 6 x shifts."""
        by_source = slopes(unknowns[:SOURCE], self.places(unknowns)) * self.weights
        by_source = by_source.reshape(SOURCE, 6, self.count)
        # Moving the mast is moving the source the other way.
        by_shift = -by_source[self.of_axis, :, self.of_look].T * self.shift_sigma_m
        return by_source.reshape(SOURCE, -1), by_shift

    def _cells(self):
        """Rows and columns of the slopes by shifts."""
        shifts = np.arange(len(self.of_look))
        rows = self.of_look + self.count * np.arange(6)[:, None]
        return rows, np.broadcast_to(SOURCE + shifts, rows.shape)

    def plain_jacobian(self, unknowns):
        by_source, by_shift = self._slopes(unknowns)
        shifts = len(self.of_look)
        jacobian = np.zeros((SOURCE + shifts, 6 * self.count + shifts + 1)).T
        jacobian[: 6 * self.count, :SOURCE] = by_source.T
        jacobian[self._cells()] = by_shift
        jacobian[6 * self.count + np.arange(shifts), SOURCE + np.arange(shifts)] = 1
        jacobian[-1, 6] = 1 / self.ratio_sigma
        return jacobian

    def sparse_jacobian(self, unknowns):
        """The same as a sparse matrix."""
        by_source, by_shift = self._slopes(unknowns)
        shifts = np.arange(len(self.of_look))
        rows, columns = self._cells()
        whole = np.indices(by_source.shape)
        last = 6 * self.count + len(shifts)
        rows = np.concatenate([whole[1].ravel(), rows.ravel(), 6 * self.count + shifts, [last]])
        columns = np.concatenate([whole[0].ravel(), columns.ravel(), SOURCE + shifts, [6]])
        cells = np.concatenate([by_source.ravel(), by_shift.ravel(), np.ones(len(shifts)), [1 / self.ratio_sigma]])
        return coo_array((cells, (rows, columns)), shape=(last + 1, SOURCE + len(shifts))).tocsr()

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
    exact = in_rows(fields(source, nodes(true_at_m, upper_m)))
    strength = np.stack([np.linalg.norm(exact[:, :3], axis=1), np.linalg.norm(exact[:, 3:], axis=1)], axis=1)
    sigma_nt = np.sqrt(noise_nt**2 + (relative * strength) ** 2)
    noisy = exact + np.repeat(sigma_nt, 3, axis=1) * random.normal(size=exact.shape)
    sigmas_m = np.broadcast_to(pose_sigma_m, true_at_m.shape)
    claimed_m = true_at_m + sigmas_m * random.normal(size=true_at_m.shape)
    return Looks(claimed_m, upper_m, noisy, sigma_nt, sigmas_m.astype(float))
