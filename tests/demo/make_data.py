"""Draws the INVENTED tables of data/ again and writes them: ``python -m tests.demo.make_data``."""

import io
from functools import cache
from pathlib import Path

import pandas as pd

from toolkit.brief import reading
from toolkit.brief.model import Brief
from toolkit.demo import measured, oracle, recordings, scenarios
from toolkit.demo import tables as raw_tables
from toolkit.design import factorial, orders

DATA = Path(__file__).resolve().parents[2] / "data"
SEEDS = {"chain-soot": oracle.TEACHING_SEED, "tappet-finish": 8, "sprocket-build": 10}
# The campaign of pin wear is handed in by metrology room and laboratory, and drawn by a generator of its own.
MEASURED, MEASURED_SEED = "pin-wear", 7
# Degrees of freedom of the error in each earlier campaign.
HISTORY_DF = (3, 6, 4, 9, 6, 3, 12, 6)


def brief_of(name: str) -> Brief:
    """The brief of a bundled campaign."""
    return reading.read(DATA / name / "campaign.toml")


def planned(brief: Brief) -> list[orders.Order]:
    """Pilot and main phase in the order the brief's seed gives."""
    return [orders.randomise(made(brief), seed=brief.seed) for made in (factorial.pilot, factorial.full)]


def tables(name: str, *, seed: int | None = None) -> dict[str, pd.DataFrame]:
    """The tables of a bundled campaign by their path in its folder."""
    brief = brief_of(name)
    drawn = raw_tables.campaign(brief, planned(brief), scenarios.of(name), seed=seed or SEEDS[name])
    made = {"truth.csv" if table == "truth" else f"raw/{table}.csv": frame for table, frame in drawn.items()}
    if name == "chain-soot":
        made["raw/rig-history.csv"] = history()
        spread = spread_over_1000_seeds()
        made["spread.csv"] = spread.table.round(4).assign(story_pct=round(spread.story_pct, 4), origin="INVENTED")
    return made


@cache
def spread_over_1000_seeds() -> oracle.Spread:
    """What other seeds of the chain-soot data would have shown."""
    return oracle.spread(brief_of("chain-soot"))


def history() -> pd.DataFrame:
    """Earlier campaigns of the chain rig; the first one was before the dynamometer was changed."""

    def earlier(
        response: str,
        per_run: str,
        sd: float,
        dfs: tuple[int, ...],
        seed: int,
        prefix: str = "INV-",
        rig_state: str = "as now",
    ) -> pd.DataFrame:
        return raw_tables.history(
            response, "log", per_run, {"run": (sd, dfs)}, prefix=prefix, rig_state=rig_state, seed=seed
        )

    older = earlier("elongation_pct", "mean", 0.22, (6,), 10, "INV-old-", "before the dynamometer was changed")
    elongation = earlier("elongation_pct", "mean", 0.13, HISTORY_DF, 12)
    iron = earlier("fe_ppm", "increase", 0.13, HISTORY_DF, 1)
    return pd.concat([older, elongation, iron], ignore_index=True)


def texts(name: str) -> dict[str, str]:
    """The files of a bundled campaign as text, by their path in its folder."""
    if name == MEASURED:
        brief = brief_of(name)
        order = orders.randomise(factorial.full(brief), seed=brief.seed)
        drawn = measured.campaign(brief, [order], seed=MEASURED_SEED)
        return {f"raw/{file}": frame.to_csv(index=False, lineterminator="\n") for file, frame in drawn.items()}
    return {path: frame.to_csv(index=False, lineterminator="\n") for path, frame in tables(name).items()}


def recorded() -> dict[str, str]:
    """The recordings of the chain campaign as text, by the name of the file that holds them packed."""
    runs = pd.read_csv(io.StringIO(texts("chain-soot")["raw/runs.csv"]))
    made = recordings.campaign(runs, recordings.IN_CHAIN, seed=SEEDS["chain-soot"])
    return {f"raw/dyno/{name}.gz": text for name, text in made.items()}


def main() -> None:
    """Write every table and recording."""
    (DATA / "chain-soot" / "raw" / "dyno").mkdir(exist_ok=True)
    for path, text in recorded().items():
        (DATA / "chain-soot" / path).write_bytes(recordings.packed(text))
    for name in (*SEEDS, MEASURED):
        for path, text in texts(name).items():
            (DATA / name / path).parent.mkdir(parents=True, exist_ok=True)
            (DATA / name / path).write_text(text, encoding="utf-8", newline="\n")
            print(DATA.name, name, path)


if __name__ == "__main__":
    main()
