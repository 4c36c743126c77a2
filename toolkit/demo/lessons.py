"""What the bundled chain campaign has to teach, as tables: truth, luck, one run each, stations as replicates.

Rank 10. Drawn by the generator, judged by the closed forms of ``demo.oracle``; nothing here uses the toolkit's model.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.demo import metals, oracle, scenarios
from toolkit.demo.generator import simulate
from toolkit.demo.oracle import Estimates


def truths(brief: Brief) -> pd.DataFrame:
    """What is true of each comparison of a bundled campaign, without any scatter.

    Parameters
    ----------
    brief : Brief
        Of a bundled campaign; every response of the scenario that is on the log scale is told.

    Returns
    -------
    DataFrame
        response, comparison, true_change_pct [% of the baseline; of an interaction: ratio of ratios less 1].

    Examples
    --------
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> brief = reading.read(shipped.folder("data") / "chain-soot" / "campaign.toml")
    >>> made = truths(brief)
    >>> print(made[made["response"] == "elongation_pct"].round(1).to_string(index=False))
          response                comparison  true_change_pct
    elongation_pct                   coating            -25.9
    elongation_pct                   new oil            -18.9
    elongation_pct             both together            -40.0
    elongation_pct coating needs the new oil             -9.5
    """
    rows = []
    for truth in scenarios.of(brief.id).truths:
        if truth.scale != "log":
            continue
        centres = [truth.centre(dict(zip(brief.factor_names, chosen, strict=True))) for chosen in brief.combinations]
        for item in brief.comparisons:
            change = float(oracle.weights(brief, item) @ np.array(centres))
            rows.append((truth.response, item.name, 100.0 * float(np.expm1(change))))
    return pd.DataFrame(rows, columns=["response", "comparison", "true_change_pct"])


def iron(brief: Brief) -> pd.DataFrame:
    """What is true of the iron in the oil of the chain campaign beside what is true of its wear, without any scatter.

    Parameters
    ----------
    brief : Brief
        Of the bundled chain campaign, whose iron comes from the chain and from other parts.

    Returns
    -------
    DataFrame
        comparison, wear_pct, iron_pct (true changes in per cent; of an interaction: ratio of ratios less 1).
    """
    truth = scenarios.of(brief.id).truths[0]
    ln_wear = np.array(
        [truth.centre(dict(zip(brief.factor_names, chosen, strict=True))) for chosen in brief.combinations]
    )
    ln_iron = np.log(metals.chain_mg(np.exp(ln_wear)) + metals.OTHER_PARTS_MG)
    rows = [
        (item.name, *(100.0 * float(np.expm1(oracle.weights(brief, item) @ centres)) for centres in (ln_wear, ln_iron)))
        for item in brief.comparisons
    ]
    return pd.DataFrame(rows, columns=["comparison", "wear_pct", "iron_pct"])


def luck(brief: Brief, by_seed: pd.DataFrame, *, seed: int = oracle.TEACHING_SEED) -> pd.DataFrame:
    """How far chance alone carries each comparison, beside the truth and one campaign.

    Parameters
    ----------
    brief : Brief
        Of a bundled campaign.
    by_seed : DataFrame
        One row a campaign and comparison of its first response: seed, comparison, change_pct, as in
        ``oracle.Spread.by_seed``.
    seed : int
        The campaign to lay beside.

    Returns
    -------
    DataFrame
        One row a comparison, changes in per cent: comparison, campaigns, true_pct, low_5_pct, low_25_pct, high_75_pct,
        high_95_pct (quantiles over the campaigns), seed, this_pct (of the campaign with that seed).
    """
    first = brief.responses[0].name
    true = truths(brief)
    rows = []
    for item in true[true["response"] == first].to_dict("records"):
        part = by_seed[by_seed["comparison"] == item["comparison"]].set_index("seed")["change_pct"]
        quantiles = [float(part.quantile(at)) for at in (0.05, 0.25, 0.75, 0.95)]
        rows.append((item["comparison"], len(part), item["true_change_pct"], *quantiles, seed, float(part.loc[seed])))
    names = ["comparison", "campaigns", "true_pct", "low_5_pct", "low_25_pct", "high_75_pct", "high_95_pct"]
    return pd.DataFrame(rows, columns=[*names, "seed", "this_pct"])


def one_each(brief: Brief, *, campaigns: int = 1000, seed: int = 1) -> pd.DataFrame:
    """What one run of each combination finds, over and over under the same truth.

    Parameters
    ----------
    brief : Brief
        Of a bundled campaign in complete blocks whose first response is measured at stations.
    campaigns : int
        How many are drawn, at least ``oracle.TEACHING_SEED`` where ``luck`` is told of them.
    seed : int
        Of the drawing.

    Returns
    -------
    DataFrame
        One row a campaign and comparison, as ``luck`` takes it: seed (the number of the campaign, from 1), comparison,
        change_pct. The order of the runs is drawn anew in each campaign.
    """
    once = replace(brief, plan=replace(brief.plan, builds=1))
    planned = oracle.layout(once, pilot=False)
    drawn = simulate(
        scenarios.of(brief.id).truths[0], planned, campaigns, np.random.default_rng(seed), shuffle=True
    ).measured
    ordered = np.log(drawn.mean(axis=2))[:, np.argsort(oracle.cells_of(brief, planned.runs))]
    return pd.concat(
        [
            pd.DataFrame(
                {
                    "seed": np.arange(1, campaigns + 1),
                    "comparison": item.name,
                    "change_pct": 100.0 * np.expm1(ordered @ oracle.weights(brief, item)),
                }
            )
            for item in brief.comparisons
        ],
        ignore_index=True,
    )


def false_alarms(brief: Brief, *, campaigns: int = 4000, seed: int = 1) -> pd.DataFrame:
    """How often a comparison is "shown" although nothing differs, by what is taken as the unit.

    Parameters
    ----------
    brief : Brief
        Of a bundled campaign in complete blocks whose first response is measured at stations.
    campaigns : int
        How many campaigns without any effect are drawn.
    seed : int
        Of the drawing.

    Returns
    -------
    DataFrame
        comparison, run_values_pct, stations_as_replicates_pct (shares of the campaigns with p < alpha), campaigns.
    """
    truth = scenarios.of(brief.id).truths[0]
    planned = oracle.layout(brief, pilot=False)
    nil = np.full(len(planned.runs), np.log(truth.baseline))
    drawn = simulate(
        truth, planned, campaigns, np.random.default_rng(seed), centres=nil, shuffle=True, positions=False
    ).measured
    cells = oracle.cells_of(brief, planned.runs)
    ordered = drawn[:, np.lexsort((cells, planned.build))]
    stations = ordered.reshape(campaigns, int(planned.build.max()) + 1, -1, drawn.shape[2])
    contrasts = np.array([oracle.weights(brief, item) for item in brief.comparisons])
    runs = oracle.balanced(np.log(stations.mean(axis=3)), contrasts)
    blunder = oracle.as_replicates(np.log(stations), contrasts)
    return pd.DataFrame(
        {
            "comparison": [item.name for item in brief.comparisons],
            "run_values_pct": _shown(runs, brief.alpha),
            "stations_as_replicates_pct": _shown(blunder, brief.alpha),
            "campaigns": campaigns,
        }
    )


def _shown(judged: Estimates, alpha: float) -> np.ndarray:
    """The share of campaigns in per cent in which each contrast is shown."""
    return 100.0 * (judged.p_value < alpha).mean(axis=0)
