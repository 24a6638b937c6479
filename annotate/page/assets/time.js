"use strict";
// The three clocks on the page: cut time t (the film), recording time r, clinical time c.
// Same formulas as the film: s(u) = s0 + (s1 - s0)(3u^2 - 2u^3), r(u) = d (s0 u + (s1 - s0)(u^3 - u^4 / 2)).
(() => {
  const T = (globalThis.teachcut ??= {});

  const consumed = (piece, u) => {
    const [s0, s1] = piece.s;
    return (piece.t[1] - piece.t[0]) * (s0 * u + (s1 - s0) * (u ** 3 - u ** 4 / 2));
  };

  /** The u in 0..1 at which the piece has consumed so many recording seconds. */
  const inverse = (piece, seconds) => {
    const [s0, s1] = piece.s;
    if (s0 === s1) return Math.min(1, seconds / consumed(piece, 1));
    let low = 0;
    let high = 1;
    for (let i = 0; i < 50; i += 1) {
      const middle = (low + high) / 2;
      if (consumed(piece, middle) <= seconds) low = middle;
      else high = middle;
    }
    return low;
  };

  T.makeMap = (data) => {
    const { pieces, away, steps, joints, length } = data;
    const frame = data.fps[1] / data.fps[0];
    const byId = new Map(steps.map((step) => [step.id, step]));

    /** The start of the film's frame that is on the screen at t: the film's own clock is drawn there. */
    const frameTime = (t) => Math.max(0, Math.floor(t / frame + 1e-3) * frame);

    const pieceAt = (t) => {
      let low = 0;
      let high = pieces.length - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (pieces[middle].t[0] <= t + 1e-6) low = middle;
        else high = middle - 1;
      }
      return pieces[low] ?? null;
    };

    const clinicalOf = (r) => {
      let c = r;
      for (const gap of away) if (gap.at <= r + 1e-9) c += gap.lasted;
      return c;
    };

    /** {clinical, speed, step} of the film at cut time t; clinical is null on a card. */
    const at = (t) => {
      const piece = pieceAt(t);
      if (!piece || piece.kind === "card") return { clinical: null, speed: 1, step: null, kind: "card" };
      const step = byId.get(piece.step) ?? null;
      if (piece.kind === "still") return { clinical: held(piece), speed: 1, step, kind: "still" };
      const d = piece.t[1] - piece.t[0];
      const u = Math.min(1, Math.max(0, (t - piece.t[0]) / d));
      const [s0, s1] = piece.s;
      const speed = s0 + (s1 - s0) * (3 * u * u - 2 * u ** 3);
      return { clinical: clinicalOf(piece.r[0] + consumed(piece, u)), speed, ramp: s0 !== s1, step, kind: "footage" };
    };

    const held = (piece) => {
      if (piece.c) return piece.c[0];
      const before = pieces.slice(0, pieces.indexOf(piece)).reverse();
      return before.find((one) => one.c)?.c[1] ?? 0;
    };

    /** The cut time that shows recording time r, or the first one after it. */
    const cutOfRecording = (r) => {
      for (const piece of pieces) {
        if (piece.kind !== "footage" || r >= piece.r[1]) continue;
        if (r <= piece.r[0]) return piece.t[0];
        return piece.t[0] + (piece.t[1] - piece.t[0]) * inverse(piece, r - piece.r[0]);
      }
      return length;
    };

    /** The cut time that shows clinical time c; inside time not shown, where the film passes over it. */
    const cutOfClinical = (c) => {
      let gone = 0;
      for (const gap of away) {
        if (c < gap.c) break;
        if (c < gap.c + gap.lasted) return cutOfRecording(gap.at);
        gone += gap.lasted;
      }
      return cutOfRecording(c - gone);
    };

    /** What the film passed over within the last `seconds` of cut time before t. */
    const passed = (t, seconds) => joints.filter((one) => one.t <= t + 1e-6 && t < one.t + seconds);

    return { at, frame, frameTime, cutOfClinical, cutOfRecording, passed, byId, pieceAt };
  };

  const two = (n) => String(n).padStart(2, "0");

  /** 0:12:05, rounded down as a running clock is. */
  T.clock = (seconds) => {
    const whole = Math.floor(seconds + 1e-4);
    return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`;
  };

  /** 2:41, from one hour up 1:02:41. */
  T.shortClock = (seconds) => {
    const whole = Math.floor(seconds + 1e-4);
    return whole >= 3600 ? T.clock(seconds) : `${Math.floor(whole / 60)}:${two(whole % 60)}`;
  };

  /** A length, rounded to the nearest second. */
  T.duration = (seconds) => T.shortClock(Math.floor(seconds + 0.5));

  /** 8×, 2.5×; inside a ramp whole numbers from 2 up, as the film writes it. */
  T.speed = (speed, ramp = false) => {
    if (ramp && speed >= 2) return `${Math.floor(speed + 0.5)}×`;
    let tenths = Math.floor(speed * 10 + 0.5);
    if (tenths === 10 && Math.abs(speed - 1) > 1e-9) tenths = speed > 1 ? 11 : 9;
    return `${tenths % 10 ? (tenths / 10).toFixed(1) : tenths / 10}×`;
  };

  /** The speed of what `at` found: held on a still, nothing on a card. */
  T.speedWords = (now) => ({ still: "held", card: "–" })[now.kind] ?? T.speed(now.speed, now.ramp);

  T.spoken = (seconds) => {
    const whole = Math.floor(seconds + 1e-4);
    const parts = [[Math.floor(whole / 3600), "hour"], [Math.floor(whole / 60) % 60, "minute"], [whole % 60, "second"]];
    const said = parts.filter(([n]) => n).map(([n, unit]) => `${n} ${unit}${n === 1 ? "" : "s"}`);
    return said.join(" ") || "0 seconds";
  };

  /**
   * The moment a link names: W3C Media Fragments temporal dimension (#t=10, #t=10,20, #t=,20,
   * npt: optional, h:mm:ss or m:ss or seconds) or #step=id. The last of several counts.
   */
  T.fragment = (hash) => {
    const out = {};
    for (const pair of hash.replace(/^#/, "").split("&")) {
      const cut = pair.indexOf("=");
      if (cut < 0) continue;
      let value;
      try {
        value = decodeURIComponent(pair.slice(cut + 1));
      } catch {
        continue;
      }
      const name = pair.slice(0, cut);
      if (name === "t") {
        const times = span(value);
        if (times) [out.start, out.end] = times;
      } else if (name === "step") out.step = value;
    }
    return out;
  };

  const span = (text) => {
    const match = /^(?:npt:)?([\d:.]*)(?:,([\d:.]+))?$/.exec(text);
    if (!match || (match[1] === "" && match[2] === undefined)) return null;
    const start = match[1] === "" ? 0 : npt(match[1]);
    const end = match[2] === undefined ? null : npt(match[2]);
    return start === null || (match[2] !== undefined && (end === null || end <= start)) ? null : [start, end];
  };

  const npt = (text) => {
    const match = /^(?:(?:(\d+):)?([0-5]?\d):)?(\d+(?:\.\d*)?)$/.exec(text);
    if (!match || (match[2] !== undefined && Number(match[3]) >= 60)) return null;
    return Number(match[1] ?? 0) * 3600 + Number(match[2] ?? 0) * 60 + Number(match[3]);
  };

  /** What the reader chose, kept on this device where it may be kept. */
  T.keep = {
    get(name, otherwise) {
      try {
        return localStorage.getItem(`teachcut.${name}`) ?? otherwise;
      } catch {
        return otherwise;
      }
    },
    set(name, value) {
      try {
        localStorage.setItem(`teachcut.${name}`, value);
      } catch {
        /* A page from disk may not be allowed to keep anything. */
      }
    },
  };
})();
