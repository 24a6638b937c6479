"use strict";
// The film, its clocks, the case bar and the steps.
(() => {
  const T = globalThis.teachcut;
  const $ = (id) => document.getElementById(id);
  const data = JSON.parse($("case-data").textContent);
  const map = T.makeMap(data);
  const film = $("film");
  const bar = $("bar");
  const stepLinks = [...document.querySelectorAll("a.jump")];
  const EVENT_S = 2.5;
  const MESSAGE_MS = 6000;
  T.page = { data, map, film, $, onTime: [], onSeek: [] };

  document.documentElement.classList.add("js");
  film.controls = false;
  film.tabIndex = -1;

  // --- what the clocks show -------------------------------------------------------------
  let shown = { step: undefined };

  const put = (node, text, value) => {
    if (node.textContent !== text) node.textContent = text;
    if (value !== undefined) node.value = value;
  };

  const showStep = (step) => {
    if (shown.step === step) return;
    shown.step = step;
    put($("step-name"), step ? `Step ${step.number}: ${step.title}` : "No step");
    put($("step-of"), step ? `of ${T.duration(step.lasted)}` : "");
    for (const link of stepLinks) {
      const now = step !== null && link.dataset.step === step.id;
      link.closest(".step").classList.toggle("now", now);
      if (now) link.setAttribute("aria-current", "step");
      else link.removeAttribute("aria-current");
      if (now) keepInView(link.closest(".step"));
    }
  };

  const keepInView = (item) => {
    const list = $("steps");
    if (list.scrollHeight <= list.clientHeight + 1) return;
    const box = item.getBoundingClientRect();
    const frame = list.getBoundingClientRect();
    if (box.top < frame.top + 40) list.scrollTop += box.top - frame.top - 48;
    else if (box.bottom > frame.bottom) list.scrollTop += box.bottom - frame.bottom + 12;
  };

  /** Shows every clock for the frame on the screen at cut time `time`. */
  const show = (time) => {
    const t = Math.min(map.frameTime(time), data.length);
    const now = map.at(t);
    const known = now.clinical !== null;
    put($("clock"), known ? T.clock(now.clinical) : "–", known ? now.clinical.toFixed(3) : "");
    showStep(now.step);
    const inStep = now.step && known ? Math.max(0, now.clinical - now.step.c[0]) : null;
    put($("step-clock"), inStep === null ? "–" : T.shortClock(inStep), inStep === null ? "" : inStep.toFixed(3));
    put($("speed"), T.speedWords(now), now.speed.toFixed(3));
    $("speed-cell").classList.toggle("fast", Math.abs(now.speed - 1) > 1e-6);
    put($("film-clock"), T.shortClock(t), t.toFixed(3));
    const reel = $("reel");
    if (document.activeElement !== reel || !reel.matches(":active")) reel.value = time;
    reel.setAttribute("aria-valuetext", `${T.spoken(t)} of the film`);
    showEvent(t);
    if (known) showHead(now.clinical, t);
    $("head-line").hidden = !known;
    for (const one of T.page.onTime) one(t, time);
  };

  let heldUntil = 0;
  const showEvent = (t) => {
    if (performance.now() < heldUntil) return;
    const text = map.passed(t, EVENT_S).map((one) => {
      const lasted = `+${T.duration(one.lasted)}`;
      return one.kind === "away" ? `${lasted} away${one.note ? `: ${one.note}` : ""}` : `${lasted} not shown`;
    }).join(" · ");
    const line = $("event");
    put(line, text);
    line.hidden = text === "";
  };

  const saidAt = (clinical) => {
    const part = data.parts.find((one) => clinical < one.c[1]) ?? data.parts.at(-1);
    const step = part && map.byId.get(part.step);
    return { part, text: [T.clock(clinical), step && `step ${step.number} ${step.title}`, part && part.said.split(", ").slice(2).join(", ")].filter(Boolean).join(", ") };
  };

  const showHead = (clinical) => {
    $("head-line").style.left = `${data.total ? Math.min(100, (100 * clinical) / data.total) : 0}%`;
    bar.setAttribute("aria-valuenow", Math.round(clinical));
    bar.setAttribute("aria-valuetext", saidAt(clinical).text);
  };

  // --- moving about ---------------------------------------------------------------------
  const seek = (t) => {
    const to = Math.min(Math.max(0, t), Math.max(0, data.length - map.frame / 2));
    film.currentTime = to;
    for (const one of T.page.onSeek) one(to);
    show(to);
    if (film.readyState > 0 && (film.seekable.length === 0 || film.seekable.end(film.seekable.length - 1) === 0)) {
      tell("This place serves the film without byte ranges, so it cannot jump. Serve it with teachcut club, or open the page from disk.", true);
    }
  };

  const play = () => film.play().catch((fault) => {
    if (fault.name === "NotAllowedError") tell("Press play to start the film.", true);
    else if (fault.name !== "AbortError") tell("The film cannot be played in this browser.", true);
  });

  const tell = (text, seen) => {
    $("live").textContent = "";
    requestAnimationFrame(() => ($("live").textContent = text));
    if (seen) {
      const line = $("event");
      line.textContent = text;
      line.hidden = false;
      heldUntil = performance.now() + MESSAGE_MS;
      setTimeout(() => showEvent(map.frameTime(film.currentTime)), MESSAGE_MS + 50);
    }
  };

  // Half a frame into the first frame that begins at t or after it: that frame is on the screen
  // whatever the rounding, and it belongs to what begins at t.
  const into = (t) => (Math.ceil(t / map.frame - 1e-3) + 0.5) * map.frame;

  const goStep = (id, andPlay) => {
    const step = map.byId.get(id);
    if (!step) return false;
    seek(into(step.t ? step.t[0] : map.cutOfClinical(step.c[0])));
    tell(`Step ${step.number}, ${step.title}, took ${T.spoken(Math.round(step.lasted))} in the room${step.t ? "" : ", not shown"}`);
    if (andPlay) play();
    return true;
  };

  const current = () => map.at(map.frameTime(film.currentTime));
  const shownSteps = () => data.steps.filter((step) => step.t);
  const nextStep = () => shownSteps().find((step) => step.t[0] > film.currentTime + map.frame);
  const backStep = () => {
    const before = shownSteps().filter((step) => step.t[0] < film.currentTime - 1.5);
    return before.at(-1);
  };

  Object.assign(T.page, { show, seek, play, tell, goStep, current, into, saidAt });

  const remember = (id) => {
    try {
      history.replaceState(null, "", `#step=${encodeURIComponent(id)}`);
    } catch {
      /* Some browsers refuse this for a page from disk. */
    }
  };

  for (const link of stepLinks) {
    link.href = `#step=${encodeURIComponent(link.dataset.step)}`;
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
      event.preventDefault();
      remember(link.dataset.step);
      goStep(link.dataset.step, true);
    });
  }

  for (const link of document.querySelectorAll(".left-out a")) {
    link.href = `#t=${link.dataset.t}`;
    link.addEventListener("click", (event) => {
      event.preventDefault();
      seek(into(Number(link.dataset.t)));
      tell(link.textContent.trim().replace(/\s+/g, " "));
    });
  }

  let stopAt = null;
  const followLink = () => {
    const wanted = T.fragment(location.hash);
    stopAt = wanted.end ?? null;
    if (wanted.start !== undefined) seek(map.frameTime(wanted.start) + map.frame / 2);
    else if (wanted.step !== undefined && !goStep(wanted.step, false)) tell(`This case has no step “${wanted.step}”.`, true);
  };
  addEventListener("hashchange", followLink);
  T.page.followLink = followLink;

  // --- the case bar ---------------------------------------------------------------------
  const clinicalOfX = (x) => {
    const box = bar.getBoundingClientRect();
    return data.total * Math.min(1, Math.max(0, (x - box.left) / box.width));
  };

  const goClinical = (clinical) => {
    const wanted = Math.min(Math.max(0, clinical), Math.max(0, data.total - 0.05));
    const { part, text } = saidAt(wanted);
    const lost = part && (part.kind === "away" || part.kind === "not_shown");
    seek(lost ? into(part.t) : into(map.cutOfClinical(wanted)));
    tell(text);
    if (lost) $("tip").dataset.held = "1";
    tip(wanted, lost);
  };

  const tip = (clinical, held) => {
    const node = $("tip");
    const box = bar.getBoundingClientRect();
    node.textContent = saidAt(clinical).text;
    node.hidden = false;
    const half = node.offsetWidth / 2;
    const x = (box.width * clinical) / (data.total || 1);
    node.style.left = `${Math.min(Math.max(x, half), Math.max(half, box.width - half))}px`;
    if (held) setTimeout(() => (node.hidden = true), 4000);
  };

  bar.addEventListener("pointermove", (event) => {
    tip(clinicalOfX(event.clientX), false);
    if (event.buttons === 1) goClinical(clinicalOfX(event.clientX));
  });
  bar.addEventListener("pointerleave", () => ($("tip").hidden = true));
  bar.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    bar.setPointerCapture?.(event.pointerId);
    goClinical(clinicalOfX(event.clientX));
  });

  const barKeys = {
    ArrowRight: (c) => c + 5, ArrowUp: (c) => c + 5, ArrowLeft: (c) => c - 5, ArrowDown: (c) => c - 5,
    Home: () => 0, End: () => data.total,
  };
  bar.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Escape") $("tip").hidden = true;
    const clinical = current().clinical ?? (film.currentTime > data.length / 2 ? data.total : 0);
    if (event.key in barKeys) goClinical(away(clinical, barKeys[event.key](clinical)));
    else if (event.key === "PageDown") step(nextStep());
    else if (event.key === "PageUp") step(backStep());
    else return;
    event.preventDefault();
  });

  /** A press that would land in time the film does not show goes on to its far side. */
  const away = (from, to) => {
    const part = data.parts.find((one) => to >= one.c[0] && to < one.c[1]);
    if (!part || (part.kind !== "away" && part.kind !== "not_shown")) return to;
    return to > from ? part.c[1] : part.c[0] - 0.05;
  };

  const step = (one) => one && goStep(one.id, false);

  // --- controls -------------------------------------------------------------------------
  const toggle = () => (film.paused ? play() : film.pause());
  const sound = () => {
    film.muted = !film.muted;
  };
  const drawPlay = () => {
    const use = $("play").querySelector("use");
    use.setAttribute("href", film.paused ? "#i-play" : "#i-pause");
    $("play").querySelector(".vh").textContent = film.paused ? "Play" : "Pause";
    document.documentElement.classList.toggle("playing", !film.paused);
  };
  const drawSound = () => {
    $("sound").querySelector("use").setAttribute("href", film.muted ? "#i-mute" : "#i-sound");
    $("sound").setAttribute("aria-pressed", String(!film.muted));
  };
  const fullScreen = () => {
    const player = $("player");
    if (document.fullscreenElement) document.exitFullscreen();
    else if (player.requestFullscreen) player.requestFullscreen().catch(() => tell("The browser does not allow the whole screen here.", true));
    else film.webkitEnterFullscreen?.();
  };
  const copyLink = async () => {
    const t = map.frameTime(film.currentTime).toFixed(3).replace(/\.?0+$/, "");
    const link = `${location.href.replace(/#.*$/, "")}#t=${t || "0"}`;
    try {
      await navigator.clipboard.writeText(link);
      tell(`Link to ${T.shortClock(Number(t))} of the film copied`, true);
    } catch {
      history.replaceState?.(null, "", `#t=${t || "0"}`);
      tell("The address of this page now leads to this moment", true);
    }
  };

  $("play").addEventListener("click", toggle);
  film.addEventListener("click", toggle);
  $("back").addEventListener("click", () => (backStep() ? step(backStep()) : seek(0)));
  $("next").addEventListener("click", () => step(nextStep()));
  $("sound").addEventListener("click", sound);
  $("full").addEventListener("click", fullScreen);
  $("copy").addEventListener("click", copyLink);
  $("rate").addEventListener("change", (event) => (film.playbackRate = Number(event.target.value)));
  $("reel").addEventListener("input", (event) => seek(Number(event.target.value)));
  $("reel").addEventListener("keydown", (event) => {
    const by = { ArrowRight: 5, ArrowUp: 5, ArrowLeft: -5, ArrowDown: -5 }[event.key];
    if (!by) return;
    event.preventDefault();
    seek(film.currentTime + by);
  });
  film.addEventListener("volumechange", drawSound);
  film.addEventListener("error", () => tell("The film cannot be opened. It has to lie in the same folder as this page.", true));
  Object.assign(T.page, { toggle, sound, fullScreen, copyLink, nextStep, backStep, step });

  // --- keeping the clocks with the picture ----------------------------------------------
  const follow = () => {
    if (stopAt !== null && film.currentTime >= stopAt) {
      film.pause();
      stopAt = null;
    }
  };
  if (film.requestVideoFrameCallback) {
    const frame = (_, what) => {
      if (!film.seeking) show(what.mediaTime);
      follow();
      film.requestVideoFrameCallback(frame);
    };
    film.requestVideoFrameCallback(frame);
  } else {
    const tick = () => {
      show(film.currentTime);
      follow();
      if (!film.paused) requestAnimationFrame(tick);
    };
    film.addEventListener("play", tick);
  }
  for (const name of ["seeking", "seeked", "timeupdate", "loadedmetadata"]) {
    film.addEventListener(name, () => show(film.currentTime));
  }
  for (const name of ["play", "pause", "ended"]) film.addEventListener(name, drawPlay);
  show(0);
  drawPlay();
})();
