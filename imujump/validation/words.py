"""Agreement as a reader sees it: one row a metric, in display units."""

from __future__ import annotations

from imujump.display_units import display_value
from imujump.model import METRIC_NAMES, EventKind
from imujump.validation.agreement import Agreement, agreement, pooled_coverage, sorting
from imujump.validation.pairing import Tally
from imujump.wording import METRICS

HEADS = ("", "n", "bias", "SD", "95 % limits", "slope", "RMSE", "sigma", "within 1.96 sigma")

LEGEND = (
    "Bias is measured minus true. SD: standard deviation of the differences. 95 % limits: bias "
    "± 1.96 SD. Slope: change of the difference per unit of the measured size, * where it differs "
    "from zero at p < 0.05. Sigma: what the program itself said (root mean square). Within: share "
    "of truths inside the value ± 1.96 of its own sigma; 93 to 97 % is as it should be."
)

NOT_SHOWN = (
    "No open recording of a human run-up jump with worn sensors and force plates was found. "
    "Simulated and motion-captured movement knows its own truth, but not skin, straps and shoes: "
    "a pass here is necessary, not sufficient."
)


def counts(tally: Tally) -> str:
    """Say in a few sentences what was found, missed and invented."""
    told = [
        f"{tally.attempts_found} of {tally.attempts_true} jumps found in {tally.recordings} "
        f"recordings, {tally.attempts_invented} invented."
    ]
    if tally.styles_known:
        told.append(
            f"One-foot or two-foot take-off told right in {tally.styles_right} of "
            f"{tally.styles_known}."
        )
    if tally.strikes_true:
        told.append(
            f"{tally.strikes_found} of {tally.strikes_true} foot strikes found within 30 ms, "
            f"{tally.strikes_named - tally.strikes_found} named that were none."
        )
    for kind, word in ((EventKind.FOOT_STRIKE, "strikes"), (EventKind.TOE_OFF, "toe-offs")):
        errors = tally.event_errors_s.get(kind)
        if errors:
            mean_ms = 1e3 * sum(errors) / len(errors)
            sd_ms = 1e3 * (sum((e - mean_ms / 1e3) ** 2 for e in errors) / len(errors)) ** 0.5
            told.append(f"Those {word}: {mean_ms:+.1f} ± {sd_ms:.1f} ms.")
    covered = pooled_coverage(tally.pairs)
    if covered:
        told.append(f"{100 * covered[0]:.1f} % of {covered[1]} truths within 1.96 sigma.")
    ratio = sorting(tally.pairs)
    if ratio is not None:
        told.append(f"The half with the larger sigma errs {ratio:.1f} times as much as the other.")
    return " ".join(told)


def rows(tally: Tally) -> list[tuple[str, ...]]:
    """One row for each metric that has a truth, in the contract's order."""
    return [
        _row(name, agreement(tally.pairs[name])) for name in METRIC_NAMES if tally.pairs.get(name)
    ]


def left_out(tally: Tally) -> str:
    """Name the metrics that were not measured though data and truth were whole."""
    return ", ".join(
        f"{METRICS[name].label} ({n}×)" for name, n in sorted(tally.left_out.items()) if n
    )


def label(name: str) -> str:
    """Give a metric's full name with its display unit."""
    wording = METRICS[name]
    return f"{wording.label} ({wording.unit.symbol})" if wording.unit.symbol else wording.label


def _row(name: str, found: Agreement) -> tuple[str, ...]:
    wording = METRICS[name]
    decimals = wording.decimals + 1

    def shown(value: float, sign: str = "") -> str:
        text = display_value(value, wording.unit, decimals)
        return sign + text if sign and not text.startswith("-") else text

    limits = "" if found.limits is None else f"{shown(found.limits[0])} to {shown(found.limits[1])}"
    slope = ""
    if found.slope is not None:
        slope = f"{found.slope:+.2f}{'*' if found.slope_seen else ''}"
    return (
        label(name),
        str(found.n),
        shown(found.bias, "+"),
        "" if found.sd is None else shown(found.sd),
        limits,
        slope,
        shown(found.rmse),
        shown(found.sigma),
        f"{100 * found.coverage:.0f} %",
    )
