"use strict";
// Questions that stop the film, pictures compared, keys, light and dark, links to a moment.
(() => {
  const T = globalThis.teachcut;
  const { data, map, film, $, seek, play, tell, current, onTime, onSeek } = T.page;

  // --- questions ------------------------------------------------------------------------
  const panel = $("ask");
  const asking = $("asking");
  const done = new Set();
  let lastT = null;

  const make = (name, text, className) => {
    const node = document.createElement(name);
    if (text !== undefined) node.textContent = text;
    if (className) node.className = className;
    return node;
  };

  const closeAsk = (goOn) => {
    const held = panel.contains(document.activeElement);
    panel.hidden = true;
    panel.replaceChildren();
    if (held) $("play").focus();
    if (goOn) play();
  };

  const openAsk = (step) => {
    const source = document.querySelector(`[data-ask="${CSS.escape(step.id)}"]`);
    if (!source) return;
    done.add(step.id);
    film.pause();
    const title = make("h2", "", "question");
    title.append(make("span", `Question, step ${step.number}`, "ask-kind"), make("span", source.querySelector(".ask-text").textContent));
    title.dir = "auto";
    title.lang = data.language;
    const answer = source.querySelector(".answer").textContent;
    const choices = [...source.querySelectorAll(".choices li")].map((one) => one.textContent);
    const form = make("form");
    if (choices.length) {
      const set = make("fieldset");
      set.append(make("legend", "Choices", "vh"));
      choices.forEach((text) => {
        const label = make("label");
        const radio = make("input");
        radio.type = "radio";
        radio.name = "choice";
        radio.value = text;
        const words = make("span", text);
        words.dir = "auto";
        label.append(radio, words);
        set.append(label);
      });
      form.append(set);
    } else {
      const label = make("label", "Your answer (it stays on this page)");
      const area = make("textarea");
      area.rows = 2;
      label.append(area);
      form.append(label);
    }
    const buttons = make("p", undefined, "buttons");
    const reveal = make("button", "Show the answer", "main");
    const on = make("button", "Go on");
    on.type = "button";
    buttons.append(reveal, on);
    form.append(buttons);
    const told = make("div", undefined, "told");
    told.setAttribute("aria-live", "polite");
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const picked = form.querySelector("input:checked")?.value ?? form.querySelector("textarea")?.value.trim();
      told.replaceChildren();
      if (picked) told.append(make("p", `You said: ${picked}`));
      const line = make("p", `Answer: ${answer}`, "answer");
      line.dir = "auto";
      told.append(line);
      const look = source.querySelector(".look-text")?.textContent;
      if (look) told.append(make("p", `Where to look: ${look}`));
      reveal.hidden = true;
      on.className = "main";
      on.focus();
    });
    on.addEventListener("click", () => closeAsk(true));
    panel.replaceChildren(title, form, told);
    form.append(told, buttons);
    panel.hidden = false;
    panel.focus({ preventScroll: false });
    panel.scrollIntoView({ block: "nearest" });
  };

  if (asking) {
    asking.checked = T.keep.get("asking", "on") === "on";
    asking.addEventListener("change", () => {
      T.keep.set("asking", asking.checked ? "on" : "off");
      if (!asking.checked && !panel.hidden) closeAsk(false);
    });
    onTime.push((t) => {
      if (film.paused || film.seeking || !asking.checked) {
        lastT = t;
        return;
      }
      const due = data.steps.find((step) => step.ask && step.t && !done.has(step.id) && step.t[0] <= t + 1e-6 && t < step.t[1] && (lastT === null || lastT <= step.t[0] + 1));
      lastT = t;
      if (due) openAsk(due);
    });
    onSeek.push((t) => {
      for (const step of data.steps) if (step.t && t <= step.t[0] + map.frame) done.delete(step.id);
      if (!panel.hidden) closeAsk(false);
      lastT = t;
    });
    panel.addEventListener("keydown", (event) => {
      if (event.key === "Escape") closeAsk(false);
    });
  }

  // --- pictures compared ----------------------------------------------------------------
  const compare = $("compare");
  if (compare) {
    const draw = (which) => {
      const pick = $(which);
      const text = pick.selectedOptions[0].textContent;
      $(`${which}-picture`).src = pick.value;
      $(`${which}-picture`).alt = text;
      $(`${which}-text`).textContent = text;
    };
    const wipe = () => compare.style.setProperty("--wipe", `${$("wipe").value}%`);
    for (const which of ["before", "after"]) $(which).addEventListener("change", () => draw(which));
    $("wipe").addEventListener("input", wipe);
    $("apart").addEventListener("change", () => compare.classList.toggle("apart", $("apart").checked));
    wipe();
  }

  // --- keys -----------------------------------------------------------------------------
  const keysOn = $("keys-on");
  keysOn.checked = T.keep.get("keys", "on") === "on";
  keysOn.addEventListener("change", () => T.keep.set("keys", keysOn.checked ? "on" : "off"));
  $("keys").addEventListener("click", () => $("help").showModal());

  const sayTime = () => {
    const now = current();
    if (now.clinical === null) return tell("A card: no clinical time");
    const parts = [`Clinical time ${T.spoken(now.clinical)}`];
    if (now.step) parts.push(`step ${now.step.number}, ${T.spoken(Math.max(0, now.clinical - now.step.c[0]))} of ${T.spoken(Math.round(now.step.lasted))}`);
    if (Math.abs(now.speed - 1) > 1e-6) parts.push(`speed ${T.speed(now.speed, now.ramp)}`);
    return tell(parts.join(", "));
  };

  const frameBy = (n) => {
    film.pause();
    seek(T.page.into(map.frameTime(film.currentTime) + n * map.frame));
  };
  const keys = {
    k: T.page.toggle, n: () => T.page.step(T.page.nextStep()), p: () => $("back").click(),
    j: () => seek(film.currentTime - 5), ";": () => seek(film.currentTime + 5),
    ",": () => frameBy(-1), ".": () => frameBy(1), c: () => T.page.captions?.(), t: sayTime,
    m: T.page.sound, f: T.page.fullScreen, l: T.page.copyLink,
    "/": () => $("find")?.focus(), "?": () => $("help").showModal(),
  };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
    const at = event.target;
    if (at.closest?.("input:not([type=range]), textarea, select, dialog, [contenteditable]")) return;
    if (event.key === " ") {
      const inside = $("stage").contains(at) && !at.closest("button, a, input, summary");
      if (!inside) return;
      T.page.toggle();
    } else if (!keysOn.checked) return;
    else if (/^[1-9]$/.test(event.key)) {
      const step = data.steps.find((one) => one.number === Number(event.key));
      if (!step) return;
      T.page.goStep(step.id, !film.paused);
    } else if (keys[event.key.toLowerCase()]) keys[event.key.toLowerCase()]();
    else return;
    event.preventDefault();
  });
  $("player").addEventListener("fullscreenchange", () => document.documentElement.classList.toggle("whole", document.fullscreenElement !== null));

  // --- light and dark -------------------------------------------------------------------
  const theme = (value) => {
    if (value === "auto") delete document.documentElement.dataset.theme;
    else document.documentElement.dataset.theme = value;
  };
  for (const radio of document.querySelectorAll("[name=theme]")) {
    radio.checked = radio.value === T.keep.get("theme", "auto");
    radio.addEventListener("change", () => {
      T.keep.set("theme", radio.value);
      theme(radio.value);
    });
  }
  theme(T.keep.get("theme", "auto"));

  const beside = $("beside");
  if (beside) beside.href += `#a=${encodeURIComponent(data.id)}`;

  T.page.followLink();
})();
