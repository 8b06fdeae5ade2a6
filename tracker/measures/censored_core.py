"""Likelihoods of right-censored counts for many groups of weeks at once, as arrays: one rate a group.

Everything is vectorised over the groups, so that a thousand schools take about as long as a few.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray[tuple[int, ...], np.dtype[np.float64]]
Mask = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
Index = np.ndarray[tuple[int, ...], np.dtype[np.intp]]

TINY = 1e-280
STEP = 1e-4  # of numeric derivatives, on a logarithmic scale
EDGE = 12.0  # the search for ln(φ − 1) stays within ± this


@dataclass(frozen=True, slots=True)
class CensoredWeeks:
    """Weeks that did not run out (x of days d, group g) and those that did (at least c of days e, group h)."""

    groups: int
    x: Array
    d: Array
    g: Index
    c: Array
    e: Array
    h: Index

    @classmethod
    def of(cls, given: Array, days: Array, sold_out: Array, group: Index, groups: int) -> CensoredWeeks:
        """Weeks by group; one that ran out with nothing to give says nothing and is left out."""
        out = sold_out.astype(bool)
        seen, least = ~out, out & (given > 0)
        return cls(groups, given[seen], days[seen], group[seen], given[least], days[least], group[least])

    def only(self, chosen: Mask) -> CensoredWeeks:
        """The weeks of the groups chosen (true or false by group), numbered anew."""
        number = np.cumsum(chosen) - 1
        a, b = chosen[self.g], chosen[self.h]
        return CensoredWeeks(
            int(chosen.sum()), self.x[a], self.d[a], number[self.g[a]], self.c[b], self.e[b], number[self.h[b]]
        )

    def by_seen(self, values: Array) -> Array:
        """Sums by group over the weeks that did not run out."""
        return np.bincount(self.g, weights=values, minlength=self.groups).astype(np.float64)

    def by_out(self, values: Array) -> Array:
        """Sums by group over the weeks that ran out."""
        return np.bincount(self.h, weights=values, minlength=self.groups).astype(np.float64)

    def totals(self) -> tuple[Array, Array, Array, Array]:
        """Given out, days, weeks and weeks that ran out, by group."""
        return (
            self.by_seen(self.x) + self.by_out(self.c),
            self.by_seen(self.d) + self.by_out(self.e),
            self.by_seen(np.ones_like(self.x)) + self.by_out(np.ones_like(self.c)),
            self.by_out(np.ones_like(self.c)),
        )

    def spread(self, rate: Array) -> Array:
        """Pearson's variance ÷ mean of the weeks that did not run out; NaN with fewer than two."""
        mean = rate[self.g] * self.d
        weeks = self.by_seen(np.ones_like(self.x))
        squares = self.by_seen((self.x - mean) ** 2 / np.maximum(mean, TINY))
        return np.where(weeks > 1, squares / np.maximum(weeks - 1, 1), np.nan)

    def poisson(self, rate: Array) -> Array:
        """Log-likelihood by group, requests Poisson."""
        from scipy.special import gammaln, xlogy

        mean = rate[self.g] * self.d
        seen = self.by_seen(xlogy(self.x, mean) - mean - gammaln(self.x + 1))
        return seen + self.by_out(log_at_least(self.c, rate[self.h] * self.e))

    def slopes(self, rate: Array) -> tuple[Array, Array]:
        """First and negative second derivative of the Poisson log-likelihood in the rate."""
        from scipy.special import gammaln

        least = rate[self.h] * self.e
        # P(X = c − 1) ÷ P(X ≥ c): the slope of ln P(X ≥ c) in the mean.
        hazard = np.exp((self.c - 1) * np.log(least) - least - gammaln(self.c) - log_at_least(self.c, least))
        given, days = self.by_seen(self.x), self.by_seen(self.d)
        bend = hazard * ((self.c - 1) / least - 1 - hazard)
        return (
            given / rate - days + self.by_out(self.e * hazard),
            given / rate**2 - self.by_out(self.e**2 * bend),
        )

    def poisson_peak(self, start: Array) -> Array:
        """The rate at the peak by Newton's method in ln rate, where the log-likelihood is concave."""
        at = np.log(start)
        for _ in range(60):
            rate = np.exp(at)
            slope, information = self.slopes(rate)
            bend = rate * slope - rate**2 * information
            step = np.clip(-rate * slope / np.minimum(bend, -TINY), -1, 1)
            at = at + step
            if np.abs(step).max(initial=0) < 1e-12:
                break
        return np.asarray(np.exp(at))

    def ratio_limit(self, peak: Array, loss: float, up: bool) -> Array:
        """Rate above (``up``) or below the peak at which the log-likelihood has lost ``loss``, by bisection."""
        floor = self.poisson(peak) - loss
        near, far = np.log(peak), np.log(peak) + (1 if up else -1)
        for _ in range(60):
            beyond = self.poisson(np.exp(far)) < floor
            if beyond.all():
                break
            near, far = np.where(beyond, near, far), np.where(beyond, far, 2 * far - np.log(peak))
        for _ in range(44):
            middle = (near + far) / 2
            beyond = self.poisson(np.exp(middle)) < floor
            near, far = np.where(beyond, near, middle), np.where(beyond, middle, far)
        return np.asarray(np.exp((near + far) / 2))

    def clustered(self, at: Array) -> Array:
        """Log-likelihood by group at rows (ln rate, ln(φ − 1)), requests negative binomial of variance φ × mean.

        Size r = rate × days ÷ (φ − 1), p = 1 ÷ φ.
        """
        from scipy.special import betaincc, gammaln

        rate, excess = np.exp(at[0]), np.exp(at[1])
        share = excess / (1 + excess)
        r = rate[self.g] * self.d / excess[self.g]
        size = rate[self.h] * self.e / excess[self.h]
        seen = gammaln(self.x + r) - gammaln(r) - gammaln(self.x + 1)
        seen = seen - r * np.log1p(excess)[self.g] + self.x * np.log(share)[self.g]
        tails = betaincc(size, self.c, 1 - share[self.h])
        return self.by_seen(seen) + self.by_out(np.log(np.maximum(tails, TINY)))

    def curvature(self, at: Array) -> tuple[Array, Array]:
        """Gradient (2 × groups) and second derivatives (aa, bb, ab by group) of ``clustered``, by differences."""
        here = self.clustered(at)

        def beside(a: int, b: int) -> Array:
            return self.clustered(at + STEP * np.array([[a], [b]]))

        right, left, above, below = beside(1, 0), beside(-1, 0), beside(0, 1), beside(0, -1)
        mixed = (beside(1, 1) - right - above + 2 * here - left - below + beside(-1, -1)) / 2
        gradient = np.stack([right - left, above - below]) / (2 * STEP)
        return gradient, np.stack([right - 2 * here + left, above - 2 * here + below, mixed]) / STEP**2

    def clustered_peak(self, start: Array) -> tuple[Array, Array, Array]:
        """Rows (ln rate, ln(φ − 1)) at the peak, log-likelihood and se of ln rate (NaN = not curved), by group.

        Newton's method by the size of the curvatures, so that every step goes uphill; steps are cut until they gain.
        """
        at, best = start.copy(), self.clustered(start)
        moving = np.ones(self.groups, dtype=bool)
        for _ in range(60):
            part = self.only(moving)
            gradient, second = part.curvature(at[:, moving])
            step = _newton_step(gradient, second)
            new, gained = _climb(part, at[:, moving], best[moving], step)
            still = (gained - best[moving] > 1e-10) & (np.abs(new - at[:, moving]).max(axis=0) > 1e-7)
            at[:, moving], best[moving] = new, gained
            moving[moving] = still
            if not moving.any():
                break
        _, (first, last, mixed) = self.curvature(at)
        determinant = first * last - mixed**2
        bent = (determinant > 0) & (last < 0)
        variance = -last / np.where(bent, determinant, 1.0)
        return at, best, np.where(bent, np.sqrt(np.maximum(variance, 0)), np.nan)


def _newton_step(gradient: Array, second: Array) -> Array:
    """Step uphill: the gradient over the sizes of the curvatures along their own axes; at most 1.5 a direction."""
    first, last, mixed = second
    matrices = np.stack([np.stack([first, mixed], axis=-1), np.stack([mixed, last], axis=-1)], axis=-2)
    sizes, axes = np.linalg.eigh(matrices)
    along = np.einsum("kij,ik->kj", axes, gradient) / np.maximum(np.abs(sizes), 1e-6)
    step = np.einsum("kij,kj->ik", axes, along)
    return np.asarray(step / np.maximum(np.abs(step).max(axis=0) / 1.5, 1))


def _climb(weeks: CensoredWeeks, at: Array, best: Array, step: Array) -> tuple[Array, Array]:
    size = np.ones(weeks.groups)
    for _ in range(12):
        new = at + size * step
        new[1] = np.clip(new[1], -EDGE, EDGE)
        gained = weeks.clustered(new)
        worse = ~(gained >= best)
        if not worse.any():
            return new, gained
        size = np.where(worse, size / 4, size)
    new = np.where(worse, at, new)
    return new, np.where(worse, best, gained)


def log_at_least(least: Array, mean: Array) -> Array:
    """ln P(X ≥ least) of Poisson counts, also for parts of napkins and where the chance is tiny."""
    from scipy.special import gammainc, gammaln

    near = gammainc(least, mean)
    found = np.log(np.maximum(near, TINY))
    far = near <= TINY
    if far.any():
        # P(X ≥ c) = m^c·e^(−m) ÷ Γ(c + 1) · (1 + m/(c + 1) + …): with c far above m the sum is 1 ÷ (1 − m/(c + 1)).
        c, m = least[far], mean[far]
        found[far] = c * np.log(m) - m - gammaln(c + 1) - np.log1p(-np.minimum(m / (c + 1), 0.5))
    return np.asarray(found)
