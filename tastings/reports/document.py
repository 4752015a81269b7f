"""What the typeset report says: the page's own words, and the drawing as numbers. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from tastings.reports.facts import comparable
from tastings.reports.page import named, report_facts
from tastings.reports.strips import by_peak, curve_of
from tastings.reports.svg import strength_in_words
from tastings.reports.words import LAST_INFUSION, isolated, one_decimal, plain, steep_span

WORDS = {
    "strength": "Strength, cup by cup",
    "chart_note": "Line: the mean cup on the even brew. Shaded: where that mean lies with 80 % probability; a single"
    " cup may differ more. Marks: what each taster found, brought to the even brew.",
    "steeps": "How many steeps",
    "guide": "How to brew it",
    "cup": "Cup",
    "steep": "Steep",
    "strength_short": "Strength",
    "interval": "80 % interval",
    "flavours": "Everything rated, cup by cup",
    "strips_note": "Mean of each rating on the even brew, 0 to 10, those that peak early first. Dark: the strongest"
    " cup. Thin lines: 80 % interval.",
    "layers": "What changes from cup to cup",
    "leading": "In front",
    "change": "Change",
    "richness": "Richness",
    "richness_note": "Richness is how many flavours would fill the cup as much if all were equally strong.",
    "corrected": "What was corrected, and why",
    "corrected_intro": "These cups were not brewed like the others; the curve allows for it.",
    "left_out": "Left out",
    "ageing": "Rest after roasting",
    "agreement": "How the tasters agree",
    "sure": "How sure this is",
    "course": "This tea …",
    "chance": "Probability",
    "next": "One more session:",
    "numbers": "The strength curve in numbers",
    "mean": "Mean",
    "tasted": "Tasted",
    "ratings": "Ratings",
    "sessions": "Sessions behind it",
    "photos": "Photos",
    "care": "Take care",
}
MISSING_WORDS = "□ stands for a character that no font on this server can draw; the web page shows it:"


def report_paper(**told: Any) -> dict[str, Any]:  # noqa: ANN401 - as report_facts takes it
    """Return what the layout ``report`` reads; see :func:`tastings.reports.page.report_facts`."""
    facts, development = report_facts(**told), told["development"]
    known = told.get("labels") or {}
    rows = by_peak(comparable(development))
    points = curve_of(development, "strength")
    drawn = named(told["tasted"], told["tasters"])
    return {
        "words": WORDS,
        "missing_words": MISSING_WORDS,
        "footer": f"{_text(facts['name'][:80])} \u2013 Leafspan"
        + (f", figures of {facts['computed_at']}" if facts["computed_at"] and not facts["empty"] else ""),
        "name": _text(facts["name"]),
        "provenance": " · ".join(map(_text, facts["provenance"])),
        "stale": "Newer notes on this lot are being worked in." if facts["stale"] else "",
        "empty": facts["empty"],
        "next_steps": [
            "We cannot tell yet how this tea develops or how many steeps it is worth.",
            _text(facts["next"]),
        ],
        "profile_sentence": facts["profile_sentence"],
        "chart": _chart(development, drawn) if points else None,
        "infusions": max([LAST_INFUSION, *(int(p["infusion"]) for _, some, _ in rows for p in some)]),
        "strips": [_strip(plain(key, known), some, peak) for key, some, peak in rows],
        "strips_alt": "; ".join(
            f"{plain(key, known)} peaks at infusion {peak}: {', '.join(one_decimal(p['mean']) for p in some)}"
            for key, some, peak in rows
        ),
        "steeps": facts["steeps"] and {"count": facts["steeps"]["count"], "span": _span(facts["steeps"]["span"])},
        **{
            name: _text(facts[name])
            for name in (
                "steeps_sentence",
                "evidence_sentence",
                "even_brew_sentence",
                "layer_sentence",
                "otherwise",
                "next",
            )
        },
        "guide": None
        if facts["guide"] is None
        else {
            **asdict(facts["guide"]),
            "rows": [{**_texts(row), "span": row["span"]} for row in map(asdict, facts["guide"].rows)],
        },
        "layers": [_layer(row) for row in facts["layers"]],
        "departures": facts["departures"],
        "nothing_corrected": facts["nothing_corrected"],
        "left_out": [
            f"{', '.join(filter(None, (_text(row['session']), row['infusion'])))}: {_text(row['reason'])}"
            for row in facts["left_out"]
        ],
        "ageing": facts["ageing"],
        "agreement": facts["agreement"],
        "chances": facts["chances"],
        "cups": [_texts(row) for row in facts["cups"]],
        "sessions": [
            ", ".join(_text(s[f]) for f in ("day", "taster", "shop", "brew") if s[f]) or "Day not noted"
            for s in facts["sessions"]
        ],
        "photos": [
            {**{f: row[f] for f in ("caption", "colour", "swatch")}, "file": f"{row['file']}.jpg"}
            for row in facts["photos"]
            if row["file"]
        ],
        "cautions": [_text(caution) for caution in facts["cautions"]],
    }


def _text(value: object) -> str:
    return isolated(" ".join(str(value).split()))


def _texts(row: Mapping[str, Any]) -> dict[str, str]:
    return {key: str(value) for key, value in row.items()}


def _span(span: str) -> str:
    return f"80 % interval: {span}" if span else ""


def _layer(row: Mapping[str, Any]) -> dict[str, str]:
    parts = [
        f"{word}: {', '.join(map(_text, row[name]))}" for name, word in (("new", "new"), ("gone", "gone")) if row[name]
    ]
    return {
        "infusion": str(row["infusion"]),
        "leading": ", ".join(map(_text, row["leading"])) or "\u2013",
        "change": "; ".join(parts) or "\u2013",
        "richness": str(row["richness"]),
    }


def _strip(label: str, points: Sequence[Mapping[str, Any]], peak: int) -> dict[str, Any]:
    return {
        "label": _text(label)[:60],
        "peak": peak,
        "points": [
            {
                "x": p["infusion"],
                "mean": p["mean"],
                "low": p.get("low"),
                "high": p.get("high"),
                "text": one_decimal(p["mean"]),
            }
            for p in points
        ],
    }


def _chart(development: Mapping[str, Any], tasted: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    points = curve_of(development, "strength")
    steeps = development.get("steeps") or {}
    found = [
        t for t in tasted if t.get("descriptor") == "strength" and t.get("adjusted") is not None and t["infusion"] > 0
    ]
    tasters = sorted({str(t.get("taster")) for t in found})
    lanes = sorted({(str(t.get("taster")), str(t.get("session"))) for t in found})
    infusions = max([LAST_INFUSION, *(int(p["infusion"]) for p in points), *(int(t["infusion"]) for t in found)])
    line = steeps.get("finish_line")
    return {
        "infusions": infusions,
        "infusion_word": "infusion",
        "scale_word": "strength, 0 to 10",
        "alt": strength_in_words(development, points, tasters),
        "points": [{"x": p["infusion"], "mean": p["mean"]} for p in points],
        "banded": [
            {"x": p["infusion"], "low": p["low"], "high": p["high"]}
            for p in points
            if p.get("low") is not None and p.get("high") is not None
        ],
        "marks": [
            {
                "x": t["infusion"],
                "y": t["adjusted"],
                "taster": tasters.index(str(t.get("taster"))),
                "beside": 0.64
                * ((lanes.index((str(t.get("taster")), str(t.get("session")))) + 0.5) / len(lanes) - 0.5),
            }
            for t in found
        ],
        "tasters": [_text(name)[:80] for name in tasters],
        "finish": None
        if line is None
        else {"y": line, "label": f"finish line {one_decimal(line)}", "above": float(points[0]["mean"]) < line},
        "steeps": _steeps(steeps, infusions),
    }


def _steeps(steeps: Mapping[str, Any], infusions: int) -> dict[str, Any] | None:
    recommended, low, high = (steeps.get(f) for f in ("recommended", "low", "high"))
    if not recommended:
        return None
    ends: tuple[float | None, float | None] = (None, None)
    if low is not None and high is not None:
        ends = (min(max(low, 0.5), infusions), min(max(high, 0.5), infusions))
    return {
        "x": min(recommended, infusions),
        "low": ends[0],
        "high": ends[1],
        "label": f"good for {steep_span(steeps)}",
    }
