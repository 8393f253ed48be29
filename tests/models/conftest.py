"""Small tables for the model tests, and the textbook's way with full matrices."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest


@pytest.fixture
def strips():
    """Twelve strips of an invented trial: six blocks of two treatments."""
    rng = np.random.default_rng(11)
    block = np.repeat(np.arange(6), 2)
    dressed = np.tile([0, 1], 6)
    yields = 3.0 + rng.normal(0, 0.3, 6)[block] + 0.2 * dressed + rng.normal(0, 0.1, 12)
    return pd.DataFrame(
        {
            "strip": [f"S{number}" for number in range(12)],
            "block": [f"B{number}" for number in block],
            "treatment": np.where(dressed, "dressed", "untreated"),
            "yield_t_ha": yields,
        }
    )


@pytest.fixture
def uneven():
    """Unbalanced and crossed: 40 records, 3 treatments, 5 rows, 6 columns, a covariate."""
    rng = np.random.default_rng(3)
    row, column = rng.integers(0, 5, 40), rng.integers(0, 6, 40)
    values = rng.normal(0, 1, 40) + rng.normal(0, 1.2, 5)[row] + rng.normal(0, 0.7, 6)[column]
    return pd.DataFrame(
        {
            "treatment": np.array(["a", "b", "c"])[rng.integers(0, 3, 40)],
            "row": row,
            "column": column,
            "slope": rng.normal(5, 2, 40),
            "value": values,
        }
    )


class Textbook:
    """REML, Kenward-Roger and Satterthwaite as printed, with n by n matrices.

    Patterson and Thompson 1971; Kenward and Roger 1997, sections 2 and 3. Slow on purpose:
    nothing here is shared with the package. A random term is the group of each record, or the
    columns of its Z; weights divide the residual variance.
    """

    def __init__(self, y, x, groups, weights=None):
        self.y, self.x = np.asarray(y, dtype=float), np.asarray(x, dtype=float)
        columns = [np.asarray(g) for g in groups]
        columns = [z if z.ndim == 2 else np.equal.outer(z, np.unique(z)) for z in columns]
        residual = np.ones(len(self.y)) if weights is None else 1 / np.asarray(weights)
        self.g = [z.astype(float) @ z.astype(float).T for z in columns] + [np.diag(residual)]

    def pieces(self, variances):
        v = sum(s * g for s, g in zip(variances, self.g, strict=True))
        w = np.linalg.inv(v)
        phi = np.linalg.inv(self.x.T @ w @ self.x)
        p = w - w @ self.x @ phi @ self.x.T @ w
        return SimpleNamespace(v=v, w=w, phi=phi, p=p, beta=phi @ self.x.T @ w @ self.y)

    def criterion(self, variances):
        m = self.pieces(variances)
        n, p = self.x.shape
        log_v, log_x = np.linalg.slogdet(m.v)[1], np.linalg.slogdet(self.x.T @ m.w @ self.x)[1]
        return (n - p) * np.log(2 * np.pi) + log_v + log_x + self.y @ m.p @ self.y

    def kenward_roger(self, variances, rows):
        m = self.pieces(variances)
        x, w, g = self.x, m.w, self.g
        index = range(len(g))
        ps = [-x.T @ w @ g[i] @ w @ x for i in index]
        qs = [[x.T @ w @ g[i] @ w @ g[j] @ w @ x for j in index] for i in index]
        information = np.array(
            [
                [
                    np.trace(w @ g[i] @ w @ g[j])
                    - 2 * np.trace(m.phi @ qs[i][j])
                    + np.trace(m.phi @ ps[i] @ m.phi @ ps[j])
                    for j in index
                ]
                for i in index
            ]
        )
        spread = 2 * np.linalg.inv(information)
        middle = sum(
            spread[i, j] * (qs[i][j] - ps[i] @ m.phi @ ps[j]) for i in index for j in index
        )
        adjusted = m.phi + 2 * m.phi @ middle @ m.phi
        theta = rows.T @ np.linalg.inv(rows @ m.phi @ rows.T) @ rows
        moved = [theta @ m.phi @ p @ m.phi for p in ps]
        a1 = sum(
            spread[i, j] * np.trace(moved[i]) * np.trace(moved[j]) for i in index for j in index
        )
        a2 = sum(spread[i, j] * np.trace(moved[i] @ moved[j]) for i in index for j in index)
        rank = len(rows)
        b = (a1 + 6 * a2) / (2 * rank)
        g_ = ((rank + 1) * a1 - (rank + 4) * a2) / ((rank + 2) * a2)
        c = np.array([g_, rank - g_, rank + 2 - g_]) / (3 * rank + 2 * (1 - g_))
        mean = 1 / (1 - a2 / rank)
        variance = 2 / rank * (1 + c[0] * b) / ((1 - c[1] * b) ** 2 * (1 - c[2] * b))
        rho = variance / (2 * mean**2)
        df = 4 + (rank + 2) / (rank * rho - 1)
        scale = df / (mean * (df - 2))
        estimate = rows @ m.beta
        wald = estimate @ np.linalg.inv(rows @ adjusted @ rows.T) @ estimate / rank
        errors = np.sqrt(np.diag(rows @ adjusted @ rows.T))
        return SimpleNamespace(errors=errors, statistic=scale * wald, df=df)

    def satterthwaite(self, variances, row, free):
        """One contrast, derivatives by central differences over the free variances."""
        variances = np.array(variances, dtype=float)
        steps = [1e-4 * variances[i] for i in free]

        def moved(*changes):
            shifted = variances.copy()
            for i, change in changes:
                shifted[free[i]] += change
            return shifted

        def contrast(at):
            return row @ self.pieces(at).phi @ row

        gradient = np.array(
            [
                (contrast(moved((i, h))) - contrast(moved((i, -h)))) / (2 * h)
                for i, h in enumerate(steps)
            ]
        )
        size = len(free)
        hessian = np.empty((size, size))
        for i in range(size):
            for j in range(size):
                hi, hj = steps[i], steps[j]
                hessian[i, j] = sum(
                    si * sj * self.criterion(moved((i, si * hi), (j, sj * hj)))
                    for si in (1, -1)
                    for sj in (1, -1)
                ) / (4 * hi * hj)
        return 2 * contrast(variances) ** 2 / (gradient @ (2 * np.linalg.inv(hessian)) @ gradient)


@pytest.fixture(scope="session")
def textbook():
    return Textbook
