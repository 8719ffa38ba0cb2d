"""Which of two bands opens first at dusk.

An opening is never seen, only the two checks around it (:func:`farhear.evenings.openings`). So no
clock times of hearings are compared here. An evening decides between two bands when one was open
before the other was last found closed; beside that a normal distribution is fitted to the
intervals, open-ended ones included, by maximum likelihood (the mean opening in minutes after
sunset), and its error comes from leaving out five evenings in a row at a time (block jackknife).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from farhear.hunch._cells import (
    TIP,
    Ears,
    Order,
    cells_of,
    check_pair,
    common_assumptions,
    ears_of,
    minutes_text,
    often_shut,
    order_in,
    refusal,
    span_text,
)
from farhear.hunch._ground import ALPHA, Asked, Estimate, number_in
from farhear.hunch._intervals import lead_of
from farhear.hunch.sizes import LEAST_DECIDED, needed_for, sign_test
from farhear.tables import counted
from farhear.verdicts import AGAINST, CANNOT_TELL, NOT_SHOWN, SUPPORTED, Assumption, Verdict

__all__ = ["first_at_dusk"]

_SIGN_TEST = "exact sign test on the evenings that decided, two-sided"


def first_at_dusk(
    table: pd.DataFrame,
    a: str,
    b: str,
    *,
    useful_min: float = 10.0,
    asked_before: bool | None = None,
    from_min: float = -120.0,
    to_min: float = 360.0,
) -> Verdict:
    """H1: band `a` opens before band `b` at dusk.

    Two methods have to agree. (1) Sign test: an evening decides for the band that was open before
    the other was last found closed (their intervals do not overlap); how often each was first is
    set against heads and tails. (2) Minutes: mean opening of `b` minus mean opening of `a`, each
    from a normal distribution fitted to its intervals on the evenings on which both were checked;
    interval from leaving out blocks of five evenings.

    The word:

    - CANNOT TELL YET when fewer than 6 evenings decide; when there is no interval of the lead
      (fewer than 11 evenings, or openings that the checks do not fix).
    - CANNOT TELL YET, and no minutes, when a band was not heard at all on more than a tenth of the
      evenings though watched for longer than any of its openings took.
    - CANNOT TELL YET when misses could have made the lead: where the interval does not lie beyond
      the difference of (time between checks) * m / (1 - m) of the two bands, m being the share
      missed of the checks between the first and the last hearing of an evening.
    - SUPPORTED (AGAINST) when the sign test has p < 0.05, `a` (`b`) is ahead in it, the interval
      of the lead lies above (below) 0, and the order was alternated: on at least 0.3 of the
      evenings the band checked first was the one that was checked first less often.
    - CANNOT TELL YET when the interval of the lead is wider than +- `useful_min`; when only one
      method speaks for a band; when both do but the order was fixed or is not known.
    - NOT SHOWN otherwise.

    With a fixed order the sign test is never believed: it alarmed on up to 26 % of 120-evening logs
    without any lead, as measured for this project; the verdict says so by name and gives what the
    minutes say. Logs with several setups are not pooled: each setup is answered in `notes` and
    `details["parts"]`.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`.
    a, b
        The two bands.
    useful_min
        A lead that would matter to you. [min]
    asked_before
        Whether the question was written down before the data were looked at; None: not said.
    from_min, to_min
        Only checks whose middle lies here count. [min after sunset]

    Returns
    -------
    Verdict
        `effect`: lead of `a`, negative when `b` leads [min]. `details`: wins, losses, share (of
        decided evenings with `a` first) with share_low and share_high (Clopper-Pearson),
        first_a, first_b (evenings on which each was checked first), mean_a, mean_b, sd_a, sd_b
        (fitted openings, min after sunset), lead_p, missed_a, missed_b (m above), and
        assumed_share behind `needed`.

    Raises
    ------
    InputError
        On a table or band that is not there, twice the same band, a `useful_min` not above 0.

    References
    ----------
    C. J. Clopper, E. S. Pearson, Biometrika 26 (1934), p. 404. Block jackknife: H. R. Künsch, Ann.
    Stat. 17 (1989), p. 1217. Both from memory.
    """
    check_pair(table, a, b)
    useful_min = number_in("useful_min", useful_min, 0.0)
    cells = cells_of(table, (a, b), from_min, to_min)
    a, b = cells.bands
    asked = Asked("H1", f"{a} opens before {b} at dusk.", asked_before)

    def alone(part: pd.DataFrame) -> Verdict:
        return first_at_dusk(
            part,
            a,
            b,
            useful_min=useful_min,
            asked_before=asked_before,
            from_min=from_min,
            to_min=to_min,
        )

    refused = refusal(asked, table, cells, alone)
    if refused is not None:
        return refused
    order = order_in(table, a, b, cells.full, from_min, to_min)
    low, high = cells.low[cells.full], cells.high[cells.full]
    wins = int((high[:, 0] <= low[:, 1]).sum())
    losses = int((high[:, 1] <= low[:, 0]).sum())
    p, share_low, share_high = sign_test(wins, losses)
    lead, fit = lead_of(low[None], high[None])
    ears = ears_of(cells)
    shut = often_shut(ears, int(cells.full.sum()))
    if shut:
        lead = Estimate(*np.full((4, 1), np.nan))
    found = _Pair(
        a=a,
        b=b,
        wins=wins,
        losses=losses,
        undecided=len(cells.days) - wins - losses,
        p=p,
        lead=float(lead.value[0]),
        low=float(lead.low[0]),
        high=float(lead.high[0]),
        order=order,
        ears=(ears[0], ears[1]),
        shut=shut,
    )
    word, sentence, short = found.judged(useful_min)
    decided = wins + losses
    needed, assumed = needed_for(wins, losses)
    notes = []
    if decided:
        notes.append(
            f"Share of decided evenings with {a} first: {100 * wins / decided:.0f} % (95 % "
            f"interval {100 * share_low:.0f} to {100 * share_high:.0f} %)."
        )
    if short and 0 < decided < needed:
        notes.append(
            f"At your rate of {decided} decided in {len(cells.days)} evenings, {needed} take about "
            f"{int(np.ceil(needed * len(cells.days) / decided))} evenings like these."
        )
    counted = f"{a} first on {order.a}, {b} first on {order.b} evenings"
    return asked.verdict(
        word,
        sentence,
        effect=found.lead,
        low=found.low,
        high=found.high,
        unit=f"min by which {a} leads",
        p_value=p,
        p_method=_SIGN_TEST,
        evenings=len(cells.days),
        decided=decided,
        needed=needed if short and decided < needed else None,
        assumptions=(
            Assumption(f"the order of the bands was alternated ({counted})", order.holds),
            Assumption("both bands were checked for the same target region", None),
            *common_assumptions(cells, ears),
        ),
        notes=tuple(notes),
        details={
            "wins": wins,
            "losses": losses,
            "share": wins / decided if decided else float("nan"),
            "share_low": share_low,
            "share_high": share_high,
            "first_a": order.a,
            "first_b": order.b,
            "mean_a": float(fit.coef[0, 0]),
            "mean_b": float(fit.coef[1, 0]),
            "sd_a": float(fit.sd[0]),
            "sd_b": float(fit.sd[1]),
            "lead_p": float(lead.p[0]),
            "missed_a": ears[0].missed,
            "missed_b": ears[1].missed,
            "assumed_share": assumed,
        },
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """What the two methods found about two bands."""

    a: str
    b: str
    wins: int
    losses: int
    undecided: int
    p: float
    lead: float
    low: float
    high: float
    order: Order
    ears: tuple[Ears, Ears]
    shut: str

    def minutes(self) -> str:
        """What the minutes say."""
        if not np.isfinite(self.lead):
            return "The checks do not fix how many minutes lie between the two."
        band, sign = (self.a, 1.0) if self.lead >= 0.0 else (self.b, -1.0)
        if not np.isfinite(self.low):
            lead = minutes_text(sign * self.lead)
            return f"Best guess: {band} leads by {lead} min, without interval."
        ends = sorted((sign * self.low, sign * self.high))
        behind = "; below 0 the other leads" if ends[0] < 0.0 else ""
        return (
            f"Best guess: {band} leads by {minutes_text(sign * self.lead)} min, and "
            f"{span_text(*ends)} fits your log{behind}."
        )

    def warning(self) -> str:
        """The order, where it fools the sign test."""
        if self.order.holds is None:
            return (
                "WARNING, order not known: the log does not show which of the two was checked "
                "first; a fixed order fools the sign test."
            )
        first, often = (
            (self.a, self.order.a) if self.order.a >= self.order.b else (self.b, self.order.b)
        )
        other = self.b if first == self.a else self.a
        return (
            f"WARNING, fixed order: {first} was checked before {other} on {often} of "
            f"{self.order.a + self.order.b} evenings. A fixed order fools the sign test, so it is "
            "not believed here."
        )

    def judged(self, useful_min: float) -> tuple[str, str, bool]:
        """Word, sentence, and whether more evenings are what is missing."""
        word, sentence, short = self._judged(useful_min)
        if self.order.holds:
            return word, sentence, short
        tip = f"Alternate the order: {self.a} first on one evening, {self.b} on the next."
        return word, f"{self.warning()} {sentence} {tip}", short

    def _judged(self, useful_min: float) -> tuple[str, str, bool]:
        decided = self.wins + self.losses
        up, down = self.low > 0.0, self.high < 0.0
        sign = self.p < ALPHA
        ahead = self.wins > self.losses
        lopsided = f"That is more lopsided than luck usually gives (p = {self.p:.2g})."
        rest = f"({self.undecided} evenings could not decide)"
        if decided < LEAST_DECIDED:
            leader, trails = (self.a, self.b) if self.wins >= self.losses else (self.b, self.a)
            need = needed_for(self.wins, self.losses)[0]
            what = (
                "No evening could decide: each time the openings may have been in either order."
                if not decided
                else f"Only {counted(decided, 'evening')} could decide, too few "
                f"even if {leader} truly leads {trails} most nights."
            )
            return (
                CANNOT_TELL,
                f"{what} About {need} decided evenings would be needed. {TIP}",
                True,
            )
        counts = f"{self.wins} of {decided} evenings that could decide"
        found = f"On {counts}, {self.a} was open before {self.b} {rest}."
        if self.shut:
            return (
                CANNOT_TELL,
                f"{found} But {self.shut}, though you listened for longer than it ever took to "
                "open: not opening is not the same as opening later, and no minutes are given. "
                "Ask how often each opens at all, before asking which is first.",
                False,
            )
        bias = self.ears[1].delay_min - self.ears[0].delay_min
        by_ear = (up and 0.0 < self.low <= bias) or (down and bias <= self.high < 0.0)
        if by_ear:
            missed = " and ".join(f"{one.band} in {100 * one.missed:.0f} %" for one in self.ears)
            return (
                CANNOT_TELL,
                f"{found} {self.minutes()} But between two hearings you missed {missed} of the "
                f"checks; that alone makes {self.b if bias > 0.0 else self.a} look about "
                f"{minutes_text(abs(bias))} min later.",
                False,
            )
        if self.order.holds and sign and up and ahead:
            return (
                SUPPORTED,
                f"{found} {lopsided} {self.minutes()}",
                False,
            )
        if self.order.holds and sign and down and not ahead:
            return (
                AGAINST,
                f"On {self.losses} of {decided} evenings that could decide, {self.b} was open "
                f"before {self.a} {rest}: the opposite of the hunch. {lopsided} {self.minutes()}",
                False,
            )
        if not np.isfinite(self.low):
            return (
                CANNOT_TELL,
                f"{found} But your log is too short, or its checks too far apart, to say by how "
                f"many minutes. {self.minutes()}",
                True,
            )
        if max(self.high - self.lead, self.lead - self.low) > useful_min:
            return (
                CANNOT_TELL,
                f"{found} {self.minutes()} That is wider than +- {useful_min:g} min, so your log "
                "leaves open whether there is a lead that matters.",
                True,
            )
        if up or down:
            both = sign and ahead == up
            but = "" if both else f" The sign test does not agree (p = {self.p:.2g})."
            return (
                CANNOT_TELL,
                f"The minutes have {self.a if up else self.b} first. {self.minutes()} {found}{but}",
                not both,
            )
        if sign and self.order.holds:
            return (
                CANNOT_TELL,
                f"{found} {lopsided} The minutes do not agree. {self.minutes()}",
                True,
            )
        return (
            NOT_SHOWN,
            f"Your log does not show that {self.a} opens before {self.b}, nor the opposite: on "
            f"{counts}, {self.a} was first {rest}, which luck gives easily. {self.minutes()}"
            if self.order.holds
            else f"Your log does not show that {self.a} opens before {self.b}, nor the opposite. "
            f"{self.minutes()}",
            False,
        )
