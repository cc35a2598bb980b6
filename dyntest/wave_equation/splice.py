"""Joints with slack: they carry compression at once, and tension only after they have opened by their slack."""

from dataclasses import replace

import numpy as np

from dyntest.wave_equation.mesh import Mesh


def add_splices(mesh: Mesh, depths: tuple[float, ...], slacks: tuple[float | np.ndarray, ...]) -> Mesh:
    """Give the mesh with joints at the nodes nearest to some depths.

    Parameters
    ----------
    mesh : Mesh
        The pile's segments.
    depths : tuple of float
        Depths of the joints below node 0 [m].
    slacks : tuple of float or numpy.ndarray
        Opening of each joint at which it begins to pull, a number or an array of shape (n_candidates,) [m]; infinite
        for one that never pulls.

    Returns
    -------
    Mesh
        With `splices`; the soil at a joint's node holds its lower end.

    Raises
    ------
    ValueError
        If a joint falls on the pile's upper end or toe, two fall on one node, or a slack is negative.

    Examples
    --------
    >>> mesh = Mesh(1e-4, np.linspace(0, 10, 11), np.ones(10), np.ones(10), np.ones(10))
    >>> add_splices(mesh, (4.1,), (0.002,)).splices
    ((4, 0.002),)
    """
    nodes = [int(np.abs(mesh.depth - depth).argmin()) for depth in depths]
    if len(nodes) != len(slacks):
        raise ValueError("every splice needs a depth and a slack")
    if any(not 0 < node < mesh.n_segments for node in nodes):
        raise ValueError("a splice falls on the upper end or the toe of the pile, where there is nothing to join")
    if len(set(nodes)) != len(nodes):
        raise ValueError("two splices fall on one node; cut the pile into more segments")
    if any(not np.all(np.asarray(slack) >= 0.0) for slack in slacks):
        raise ValueError("a splice needs a slack of 0 or more")
    return replace(mesh, splices=tuple(sorted(zip(nodes, slacks, strict=True), key=lambda splice: splice[0])))


class Joint:
    """One joint in a run. Its two ends either move apart freely or keep the opening at a bound, 0 or the slack.

    Held at a bound, the ends' velocities differ by the ``w`` that leads there within the step, and equilibrium gives

        v_lower = (2d − 2u − S + Z1 w) / (Z1 + Z2 + D),   v_upper = v_lower − w       (10)

    and free, ``v_lower = (−2u − S) / (Z2 + D)``, ``v_upper = 2d / Z1``                (11).

    Parameters
    ----------
    row, soil_row : int
        Row of the node among all nodes and among those with soil [1].
    slack : float or numpy.ndarray
        Opening at which it begins to pull, also of shape (n_candidates,) [m].
    z_above : numpy.ndarray
        Impedance above, shape (1,) or (n_candidates,) [N s/m].
    time_step : float
        Time step [s].
    opening : numpy.ndarray
        How far it is open at the beginning, shape (n_candidates,) [m].
    """

    def __init__(self, row, soil_row, slack, z_above, time_step, opening):
        self.row, self.soil_row, self.slack = row, soil_row, slack
        self.z_above, self.dt, self.opening = z_above, time_step, np.array(opening)
        self.force = np.zeros_like(self.opening)

    def decide(self, step) -> None:
        """Find out whether the ends are free in this step, and set their node's numbers accordingly.

        Parameters
        ----------
        step : Step
            The run, with the waves and the springs' predicted force of this step.
        """
        row, i = self.row, self.soil_row
        down, p, s, r, h = step.sides.down[row], step.p[row], step.spring[i], step.r[i], step.h[i]
        pull, r_free = p - down, r - 0.5
        held = np.clip(s + h / (r_free + h) * (pull - s), step.lower[i], step.upper[i])
        apart = ((pull - held) / r_free - 2.0 * down) * (self.dt / self.z_above)
        bound = np.clip(self.opening + apart, 0.0, self.slack)
        self.free = bound == self.opening + apart
        self.w = np.where(self.free, 0.0, (bound - self.opening) / self.dt)
        step.p[row] = np.where(self.free, pull, p + 0.5 * self.z_above * self.w)  # (10), (11)
        r_now = np.where(self.free, r_free, r)
        step.g[row], step.a[i] = 1.0 / r_now, h / (r_now + h)

    def keep(self, down: np.ndarray) -> None:
        """Keep the wave from above before it is overwritten.

        Parameters
        ----------
        down : numpy.ndarray
            Waves that arrive from above, shape (n_segments, n_candidates) [N].
        """
        self.arrived = down[self.row].copy()

    def part(self, up: np.ndarray, y: np.ndarray) -> None:
        """Give the upper end its own velocity.

        Parameters
        ----------
        up : numpy.ndarray
            Waves sent up, computed from the lower end's velocity, shape (n_segments, n_candidates) [N].
        y : numpy.ndarray
            That velocity times the impedance above, shape (n_segments, n_candidates) [N].
        """
        row, arrived = self.row, self.arrived
        up[row] = np.where(self.free, -arrived, up[row] + self.z_above * self.w)
        self.force = arrived + up[row]
        apart = np.where(self.free, (y[row] - 2.0 * arrived) / self.z_above, self.w)
        self.opening = self.opening + apart * self.dt
