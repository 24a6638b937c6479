"""Made case folders whose every time is known: what ``make`` writes, without making a film cut.

The plan is written down as a list of shots; the times follow from the design's formulas alone and
share no code with the page (a ramp from s0 to s1 over d cut seconds consumes d (s0 + s1) / 2).
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import imageio_ffmpeg
import numpy as np
from PIL import Image

F = Fraction
FPS = F(30)
ONE, TWO = F(1), F(2)
CODE_BITS = 12


@dataclass
class Shot:
    """A piece of the plan: a step's stretch of recording with its speed; speed 0 is not shown."""

    step: str | None
    seconds: Fraction
    speed: Fraction = ONE


@dataclass
class Plan:
    """A whole case. ``away`` is (recording time, lasted, reason); ``steps`` id -> title and more."""

    case: str = "bench-03"
    title: str = "Sealing a perforation on a practice tooth"
    shots: list[Shot] = field(default_factory=list)
    steps: dict[str, dict[str, Any]] = field(default_factory=dict)
    away: list[tuple[Fraction, Fraction, str]] = field(default_factory=list)
    still_before: str | None = None
    ramp: Fraction = ONE
    card: Fraction = TWO
    extra: dict[str, Any] = field(default_factory=dict)


def exact(seconds: Fraction) -> str:
    """Exact seconds as the output files write them."""
    scaled = seconds * 10**9
    if scaled.denominator != 1:
        return f"{seconds.numerator}/{seconds.denominator}"
    whole, rest = divmod(scaled.numerator, 10**9)
    return f"{whole}.{rest:09d}"


def usual() -> Plan:
    """Eight steps, every kind of time, a still, 60 seconds away for a radiograph."""
    steps = {
        "isolate": {
            "title": "Isolate the tooth",
            "expect": (F(60), F(180)),
            "note": "Clamp first, then the sheet; check the seal with air.",
        },
        "locate": {
            "title": "Locate the perforation",
            "note": "Dry the chamber and look along the furcal wall at 12×.",
        },
        "clean": {
            "title": "Clean the margins",
            "expect": (F(60), F(100)),
            "note": "Ultrasonic tip at low power, short strokes.",
        },
        "dry": {"title": "Dry the site", "note": "Paper points, then a minute of patience."},
        "matrix": {
            "title": "Place the matrix",
            "expect": (F(10), F(20)),
            "note": "Carry it in three small pieces and tap each one flat before the next.",
        },
        "fill": {
            "title": "Fill the defect",
            "expect": (F(60), F(90)),
            "note": "Increments of one millimetre.",
        },
        "set": {"title": "Wait for the set", "note": "Nothing to see; the film leaves it out."},
        "check": {
            "title": "Check the seal",
            "note": "Look for a step at the margin with the explorer.",
        },
    }
    shots = [
        Shot(None, F(8), F(0)),
        Shot("isolate", F(90), F(8)),
        Shot("locate", F(4)),
        Shot("clean", F(60), F(8)),
        Shot("dry", F(3)),
        Shot("matrix", F(5)),
        Shot("fill", F(64), F(16)),
        Shot("set", F(190), F(0)),
        Shot("check", F(4)),
    ]
    away = [(F(130), F(60), "check radiograph")]
    extra = {
        "tooth": {"fdi": "36", "universal": "19", "name": "lower left first molar"},
        "procedure": "Perforation repair",
        "presenter": "Bench team",
        "tags": ["perforation", "microscope"],
        "subject": "simulated",
        "publishable": True,
    }
    return Plan(shots=shots, steps=steps, away=away, still_before="dry", extra=extra)


@dataclass
class Made:
    """The exact values of a made case, for tests to hold the page against."""

    plan: Plan
    time_map: dict[str, Any]
    step_times: dict[str, Any]
    ledger: dict[str, Any]
    length: Fraction
    pieces: list[dict[str, Any]]

    def clinical(self, frame: int) -> Fraction | None:
        """The clinical time that frame ``frame`` of the film shows; None on a card."""
        t = F(frame) / FPS
        for p in self.pieces:
            if p["cut"][0] <= t < p["cut"][1]:
                if p["kind"] == "card":
                    return None
                if p["kind"] == "still":
                    return p["clinical"][0]
                d = p["cut"][1] - p["cut"][0]
                u = (t - p["cut"][0]) / d
                s0, s1 = p["speed"]
                r = p["recording"][0] + d * (s0 * u + (s1 - s0) * (u**3 - u**4 / 2))
                return r + sum((a[1] for a in self.plan.away if a[0] <= r), F(0))
        return None

    def cut_of(self, step: str) -> tuple[Fraction, Fraction]:
        """Where a step lies in the film."""
        mine = [p["cut"] for p in self.pieces if p["step"] == step and p["kind"] == "footage"]
        return mine[0][0], mine[-1][1]


def _footage(
    shot: Shot, t: Fraction, r: Fraction, ramp: Fraction
) -> list[tuple[Fraction, Fraction, Fraction, Fraction, Fraction, Fraction]]:
    s, n = shot.speed, shot.seconds
    if s == 1:
        return [(t, t + n, r, r + n, F(1), F(1))]
    up = ramp * (1 + s) / 2
    middle = (n - 2 * up) / s
    out = [(t, t + ramp, r, r + up, F(1), s)]
    out.append((t + ramp, t + ramp + middle, r + up, r + n - up, s, s))
    out.append((t + ramp + middle, t + 2 * ramp + middle, r + n - up, r + n, s, F(1)))
    return out


def both(pair: tuple[Fraction, Fraction] | None) -> list[str] | None:
    """Two exact times as the output files write them."""
    return None if pair is None else [exact(pair[0]), exact(pair[1])]


def clinical_clocks(
    plan: Plan,
) -> tuple[Callable[[Fraction], Fraction], Callable[[Fraction], Fraction]]:
    """Clinical time at a recording time, and its limit from the left."""

    def c_at(r: Fraction) -> Fraction:
        return r + sum((a[1] for a in plan.away if a[0] <= r), F(0))

    def c_before(r: Fraction) -> Fraction:
        return r + sum((a[1] for a in plan.away if a[0] < r), F(0))

    return c_at, c_before


def _rows(
    plan: Plan, spans: dict[str, tuple[Fraction, Fraction]], pieces: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    """The steps of step-times.json."""
    c_at, c_before = clinical_clocks(plan)
    rows = []
    for number, (name, more) in enumerate(plan.steps.items(), start=1):
        a, b = spans[name]
        clinical = (c_at(a), c_before(b) if name != list(plan.steps)[-1] else c_at(b))
        gone = sum((n for at, n, _ in plan.away if a <= at < b), F(0))
        real = sum((s.seconds for s in plan.shots if s.step == name and s.speed == 1), F(0))
        fast = sum((s.seconds for s in plan.shots if s.step == name and s.speed > 1), F(0))
        lost = sum((s.seconds for s in plan.shots if s.step == name and s.speed == 0), F(0))
        mine = [p["cut"] for p in pieces if p["step"] == name]
        took = clinical[1] - clinical[0]
        expect = more.get("expect")
        off = (
            F(0)
            if not expect
            else took - expect[1]
            if took > expect[1]
            else took - expect[0]
            if took < expect[0]
            else F(0)
        )
        verdict = "" if not expect else "longer" if off > 0 else "shorter" if off < 0 else "within"
        speed = max((s.speed for s in plan.shots if s.step == name), default=F(1))
        rows.append({
            "number": number, "id": name, "title": more["title"], "phase": more.get("phase", ""), "note": more.get("note", ""),
            "show": "skip" if lost and not real and not fast else "fast" if fast else "real", "speed": exact(speed) if fast else None,
            "cut": both((mine[0][0], mine[-1][1])) if mine else None, "recording": both((a, b)), "clinical": both(clinical),
            "clinical_s": exact(took), "on_camera_s": exact(b - a), "away_s": exact(gone), "shown_real_s": exact(real), "shown_fast_s": exact(fast),
            "not_shown_s": exact(lost), "expect": both(expect), "against_expected": verdict, "difference_s": exact(off) if off >= 0 else "-" + exact(-off),
            **({"ask": more["ask"]} if "ask" in more else {}),
        })  # fmt: skip
    return rows


def plan_values(plan: Plan) -> Made:
    """Work the plan out, exactly."""

    c_at, c_before = clinical_clocks(plan)
    pieces: list[dict[str, Any]] = [
        {
            "kind": "card",
            "cut": (F(0), plan.card),
            "recording": None,
            "clinical": None,
            "speed": (F(1), F(1)),
            "step": None,
        }
    ]
    hidden: list[tuple[Fraction, Fraction, str | None]] = []
    spans: dict[str, tuple[Fraction, Fraction]] = {}
    t, r = plan.card, F(0)
    for shot in plan.shots:
        if shot.step:
            spans[shot.step] = (spans.get(shot.step, (r, r))[0], r + shot.seconds)
        if plan.still_before is not None and shot.step == plan.still_before:
            pieces.append(
                {
                    "kind": "still",
                    "cut": (t, t + 2),
                    "recording": None,
                    "clinical": (c_at(r), c_at(r)),
                    "speed": (F(1), F(1)),
                    "step": shot.step,
                }
            )
            t += 2
        if shot.speed == 0:
            hidden.append((r, r + shot.seconds, shot.step))
        else:
            for t0, t1, r0, r1, s0, s1 in _footage(shot, t, r, plan.ramp):
                pieces.append(
                    {
                        "kind": "footage",
                        "cut": (t0, t1),
                        "recording": (r0, r1),
                        "clinical": (c_at(r0), c_before(r1)),
                        "speed": (s0, s1),
                        "step": shot.step,
                    }
                )
                t = t1
        r += shot.seconds
    frames = -((-(t + plan.card) * FPS) // 1)
    length = F(frames) / FPS
    pieces.append(
        {
            "kind": "card",
            "cut": (t, length),
            "recording": None,
            "clinical": None,
            "speed": (F(1), F(1)),
            "step": None,
        }
    )
    time_map = {
        "case": plan.case, "title": plan.title, "fps": "30/1", "length": exact(length),
        "pieces": [{**p, "cut": both(p["cut"]), "recording": both(p["recording"]), "clinical": both(p["clinical"]), "speed": both(p["speed"])} for p in pieces],
        "away": [{"at": exact(at), "clinical": exact(c_before(at)), "lasted": exact(n), "reason": why} for at, n, why in plan.away],
        "not_shown": [{"recording": both((a, b)), "clinical": both((c_at(a), c_before(b)))} for a, b, _ in hidden],
    }  # fmt: skip
    rows = _rows(plan, spans, pieces)
    total = c_at(r)
    sums = {
        kind: sum((s.seconds for s in plan.shots if test(s.speed)), F(0))
        for kind, test in (
            ("real", lambda s: s == 1),
            ("fast", lambda s: s > 1),
            ("not_shown", lambda s: s == 0),
        )
    }
    ledger = {
        k: exact(v)
        for k, v in {
            **sums,
            "away": sum((a[1] for a in plan.away), F(0)),
            "total": total,
            "cards": 2 * plan.card,
            "stills": F(2) if plan.still_before else F(0),
        }.items()
    }
    step_times = {"case": plan.case, "title": plan.title, "subject": "simulated", "publishable": True, "notice": None, "tooth": None, "procedure": "", "presenter": "", "tags": [], "language": "en", "length": exact(length), "steps": rows, "cautions": ["This film teaches. It is not a protocol.", "A licensed practitioner's own judgement decides in every case."], **plan.extra}  # fmt: skip
    return Made(
        plan,
        time_map,
        step_times,
        {
            **ledger,
            "away_events": [],
            "hidden": [
                {"recording": both((a, b)), "clinical": both((c_at(a), c_before(b))), "step": s}
                for a, b, s in hidden
            ],
        },
        length,
        pieces,
    )


def vtt(cues: list[tuple[str, str, str]]) -> str:
    """A caption file of (start, end, text)."""
    return (
        "WEBVTT\n\nNOTE made for a test\n\n"
        + "\n\n".join(f"{a} --> {b}\n{text}" for a, b, text in cues)
        + "\n"
    )


ENGLISH = [
    ("00:00:02.000", "00:00:05.000", "Clamp first, then the sheet;\ncheck the seal with air."),
    ("00:00:06.000", "00:00:09.000", "Four clamps fit: 2 &amp; 3 &lt; 4."),
    ("00:00:16.000", "00:00:18.500", "Look along the furcal wall."),
]
GERMAN = [
    ("00:00:02.000", "00:00:05.000", "Erst die Klammer,\ndann das Tuch."),
    ("00:00:16.000", "00:00:18.500", "Entlang der Wand sehen."),
]


def write_case(
    folder: Path, plan: Plan, *, film: bytes | None = None, pictures: bool = True
) -> Made:
    """Write the outputs of the plan into ``folder``; ``film`` is the bytes of teaching-cut.mp4."""
    folder.mkdir(parents=True, exist_ok=True)
    made = plan_values(plan)
    for name, value in (
        ("time-map.json", made.time_map),
        ("step-times.json", made.step_times),
        ("ledger.json", made.ledger),
        ("made.json", {"case": plan.case}),
    ):
        (folder / name).write_text(
            json.dumps(value, ensure_ascii=False), encoding="utf-8", newline="\n"
        )
    (folder / "captions.vtt").write_text(vtt(ENGLISH), encoding="utf-8", newline="\n")
    (folder / "captions.de.vtt").write_text(vtt(GERMAN), encoding="utf-8", newline="\n")
    (folder / "chapters.vtt").write_text("WEBVTT\n", encoding="utf-8", newline="\n")
    (folder / "teaching-cut.mp4").write_bytes(film if film is not None else b"no film")
    if pictures:
        for row in made.step_times["steps"]:
            if row["cut"]:
                (folder / f"step-{row['number']}.jpg").write_bytes(picture(row["number"]))
        (folder / "poster.jpg").write_bytes(picture(0))
    return made


def picture(number: int) -> bytes:
    """A small JPEG whose grey depends on the number."""
    out = io.BytesIO()
    Image.new("RGB", (160, 90), ((37 * number) % 200 + 30, 70, 90)).save(out, "JPEG", quality=80)
    return out.getvalue()


def numbered_film(path: Path, frames: int) -> bytes:
    """A real H.264 film with sound in which frame n carries n as twelve bars, bright for 1."""
    width, height = 240, 136
    writer = imageio_ffmpeg.write_frames(
        str(path), (width, height), fps=30, codec="libx264", pix_fmt_in="gray", pix_fmt_out="yuv420p", macro_block_size=8,
        output_params=["-preset", "ultrafast", "-crf", "18", "-g", "30", "-movflags", "+faststart"], ffmpeg_log_level="error",
    )  # fmt: skip
    writer.send(None)
    bar = width // CODE_BITS
    for n in range(frames):
        bits = [(n >> (CODE_BITS - 1 - i)) & 1 for i in range(CODE_BITS)]
        row = np.repeat(np.array(bits, dtype=np.uint8) * 200 + 20, bar)
        writer.send(np.ascontiguousarray(np.broadcast_to(row, (height, width))))
    writer.close()
    return path.read_bytes()
