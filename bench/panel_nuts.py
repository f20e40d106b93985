"""The whole posterior of a small table beside NUTS on the same model."""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from bench._panel_tables import small
from coupage.panel import Priors, fit
from coupage.panel.columns import read_ratings, read_samples
from coupage.panel.design import build_layout, build_terms

TITLE = "The panel model beside NUTS"

BAR = 0.05
WARM, KEPT = 1000, 16_000


def timed_fit(ratings: dict[str, Any], samples: dict[str, Any]) -> tuple[float, Any]:
    best = np.inf
    for _ in range(5):
        start = time.perf_counter()
        beliefs = fit(ratings, samples)
        best = min(best, time.perf_counter() - start)
    return best, beliefs


def nuts(ratings: dict[str, Any], samples: dict[str, Any]) -> tuple[float, dict[str, np.ndarray]]:
    """Draws of the coefficients and standard deviations for the first attribute."""
    import jax
    import numpyro
    import numpyro.distributions as dist
    from numpyro.infer import MCMC, NUTS

    jax.config.update("jax_enable_x64", True)
    priors = Priors()
    described = read_samples(samples, reference_age=7.0)
    given = read_ratings(ratings, described.names, attributes=["a0"], scale=priors.scale)
    rows = np.arange(len(given.rating))
    layout = build_layout(described, np.unique(given.sample), 0)
    terms = build_terms(given, described, layout, priors, rows)
    columns = [t.columns.toarray() for t in terms]
    targets = [t.target.toarray() for t in terms]
    tasters = len(given.tasters)

    def model() -> None:
        mean, coefficients = priors.mean, 0.0
        for term, z, target in zip(terms, columns, targets, strict=True):
            sd = (
                numpyro.sample(f"sd {term.name}", dist.HalfNormal(term.sd))
                if term.estimated
                else term.sd
            )
            unit = numpyro.sample(term.name, dist.Normal(0, 1).expand([z.shape[1]]).to_event(1))
            mean = mean + z @ (sd * unit)
            coefficients = coefficients + target @ (sd * unit)
        numpyro.deterministic("coefficients", coefficients)
        noise = numpyro.sample("sd noise", dist.HalfNormal(priors.noise))
        log_ratio = numpyro.sample("ratio", dist.Normal(0, 1).expand([tasters]).to_event(1))
        own = noise * jax.numpy.exp(priors.noise_ratio * log_ratio)
        sd = jax.numpy.sqrt(own**2 + priors.floor)[given.taster]
        numpyro.sample("y", dist.Normal(mean, sd), obs=given.rating)

    start = time.perf_counter()
    sampler = MCMC(
        NUTS(model, target_accept_prob=0.95),
        num_warmup=WARM,
        num_samples=KEPT,
        num_chains=1,
        progress_bar=False,
    )
    sampler.run(jax.random.PRNGKey(0))
    found = {k: np.asarray(v) for k, v in sampler.get_samples().items()}
    return time.perf_counter() - start, found


def run() -> str:
    ratings, samples = small(10)
    ours, beliefs = timed_fit(ratings, samples)
    theirs, draws = nuts(ratings, samples)
    part, layout = beliefs.parts[0], beliefs.layout
    mean = part.weights @ part.means
    away = part.means - mean
    covariance = np.tensordot(part.weights, part.covariances, axes=1)
    covariance = covariance + (part.weights * away.T) @ away
    reference = draws["coefficients"].copy()
    reference[:, : layout.components] += beliefs.priors.mean
    at = {name: i for i, name in enumerate(beliefs.samples)}
    contrast = beliefs.sample_features[[at["S0"]]].toarray()[0]
    contrast = contrast - beliefs.sample_features[[at["S5"]]].toarray()[0]
    questions = {
        "coffee c0": np.eye(layout.size)[0],
        "coffee c4": np.eye(layout.size)[4],
        "half c0, half c1": _blend(beliefs, {0: 0.5, 1: 0.5}),
        "c0, c1, c2 in thirds": _blend(beliefs, {0: 1 / 3, 1: 1 / 3, 2: 1 / 3}),
        "sample S0 less S5, batches and all": contrast,
    }
    introduction = (
        f"48 ratings of an attribute (8 samples, 6 tasters), all integrated. Ten attributes: "
        f"{ours:.3f} s on one thread, best of five. NUTS (numpyro, float64, {WARM} + {KEPT} draws, "
        f"one chain, compilation included): {theirs:.0f} s for one attribute, so "
        f"{10 * theirs / ours:,.0f} times as long for ten. Bar: mean within 5 % of a posterior "
        "standard deviation, standard deviation within 5 %. Both sides carry simulation noise, "
        "most in the sds of terms with few levels."
    )
    lines = [
        introduction,
        "",
        "| quantity | mean here | mean NUTS | off, in sds | sd here | sd NUTS | ratio | within |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, f in questions.items():
        seen = reference @ f
        lines.append(_row(name, float(f @ mean), float(np.sqrt(f @ covariance @ f)), seen))
    for name in (*part.doubt.names, "noise"):
        own = part.doubt.noise if name == "noise" else part.doubt.of(name)
        lines.append(
            _row(f"sd of {name}", float(own.mean()), float(own.std()), draws[f"sd {name}"])
        )
    effective = min(p.doubt.effective for p in beliefs.parts)
    lines += ["", f"Smallest effective sample size of the ten attributes: {effective:.0f}."]
    return "\n".join(lines)


def _blend(beliefs: Any, shares: dict[int, float]) -> np.ndarray:
    layout = beliefs.layout
    f = np.zeros(layout.size)
    for i, x in shares.items():
        f[i] = x
    for k, (i, j) in enumerate(layout.pairs):
        f[layout.first_pair + k] = shares.get(i, 0.0) * shares.get(j, 0.0)
    return f


def _row(name: str, mean: float, sd: float, seen: np.ndarray) -> str:
    off, ratio = abs(mean - seen.mean()) / seen.std(), sd / seen.std()
    within = "yes" if off < BAR and abs(ratio - 1) < BAR else "no"
    return (
        f"| {name} | {mean:.3f} | {seen.mean():.3f} | {off:.3f} | {sd:.3f} | {seen.std():.3f} | "
        f"{ratio:.3f} | {within} |"
    )
