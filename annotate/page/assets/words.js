"use strict";
// Captions under the picture, and the transcript that can be searched and clicked.
(() => {
  const T = globalThis.teachcut;
  const { data, film, $, seek, into, onTime, play } = T.page;
  for (const node of film.querySelectorAll("track")) node.remove();
  if (data.words.length === 0) return;

  const nameOf = (language) => {
    try {
      const name = new Intl.DisplayNames([language], { type: "language" }).of(language);
      return name.charAt(0).toLocaleUpperCase(language) + name.slice(1);
    } catch {
      return language;
    }
  };

  // A page from disk cannot load track files, so the cues come with the page. The tracks stay
  // hidden (the words stand under the picture, not on it) and serve a phone's own full screen.
  const tracks = data.words.map((words) => {
    const track = film.addTextTrack("captions", nameOf(words.language), words.language);
    track.mode = "hidden";
    for (const [start, end, text] of words.cues) {
      const cue = new VTTCue(start / 1000, end / 1000, text.replace(/&/g, "&amp;").replace(/</g, "&lt;"));
      track.addCue(cue);
    }
    return track;
  });
  T.page.tracks = tracks;

  const pick = $("language");
  [...pick.options].forEach((option) => {
    if (option.value !== "") option.textContent = nameOf(option.textContent);
  });
  const lists = [...document.querySelectorAll(".transcript")];
  lists.forEach((list) => list.setAttribute("aria-label", `Words, ${nameOf(list.lang)}`));

  let chosen = 0;
  let line = null;
  const said = $("said");

  const choose = (value) => {
    pick.value = value;
    said.hidden = value === "";
    if (value !== "") {
      chosen = Number(value);
      said.lang = data.words[chosen].language;
      lists.forEach((list, i) => (list.hidden = i !== chosen));
      search();
    }
    line = null;
    update(film.currentTime);
  };

  const update = (t) => {
    const ms = t * 1000 + 0.5;
    const now = data.words[chosen].cues.filter(([start, end]) => start <= ms && ms < end);
    const text = pick.value === "" ? "" : now.map((cue) => cue[2]).join("\n");
    if (said.textContent !== text) said.textContent = text;
    const links = lists[chosen].querySelectorAll("a");
    const index = now.length ? data.words[chosen].cues.indexOf(now[0]) : -1;
    if (line === links[index]) return;
    line?.removeAttribute("aria-current");
    line = links[index] ?? null;
    line?.setAttribute("aria-current", "true");
    if (line && !film.paused && !lists[chosen].contains(document.activeElement) && !lists[chosen].matches(":hover")) {
      const list = lists[chosen];
      const box = line.getBoundingClientRect();
      const frame = list.getBoundingClientRect();
      if (box.top < frame.top || box.bottom > frame.bottom) list.scrollTop += box.top - frame.top - frame.height / 3;
    }
  };
  onTime.push((t) => update(t));
  const wishFor = (value) => {
    T.keep.set("captions", value === "" ? "off" : data.words[Number(value)].language);
    choose(value);
  };
  T.page.captions = () => wishFor(pick.value === "" ? String(chosen) : "");

  for (const list of lists) {
    list.addEventListener("click", (event) => {
      const link = event.target.closest("a");
      if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      seek(into(Number(link.dataset.t)));
      play();
    });
    for (const link of list.querySelectorAll("a")) link.href = `#t=${link.dataset.t}`;
  }

  // --- search ---------------------------------------------------------------------------
  const fold = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();

  /** Marks every place of `wanted` in the line; returns whether there is one. */
  const mark = (node, wanted) => {
    const text = (node.dataset.text ??= node.textContent);
    node.textContent = "";
    if (!wanted) {
      node.textContent = text;
      return true;
    }
    // Folding may change lengths, so the folded text keeps where each character came from.
    let folded = "";
    const origin = [];
    for (let i = 0; i < text.length; ) {
      const char = String.fromCodePoint(text.codePointAt(i));
      for (const one of fold(char)) for (let k = 0; k < one.length; k += 1) origin.push(i);
      folded += fold(char);
      i += char.length;
    }
    origin.push(text.length);
    let from = 0;
    let hit = folded.indexOf(wanted);
    const any = hit >= 0;
    while (hit >= 0) {
      const start = origin[hit];
      const end = origin[hit + wanted.length];
      const marked = document.createElement("mark");
      marked.textContent = text.slice(start, end);
      node.append(text.slice(from, start), marked);
      from = end;
      hit = folded.indexOf(wanted, hit + wanted.length);
    }
    node.append(text.slice(from));
    return any;
  };

  const search = () => {
    const wanted = fold($("find").value.trim());
    const list = lists[chosen];
    let count = 0;
    for (const item of list.querySelectorAll("li")) {
      const hit = mark(item.querySelector(".line"), wanted);
      item.hidden = !hit;
      if (hit) count += 1;
    }
    for (const head of list.querySelectorAll("h3")) {
      head.hidden = wanted !== "" && !head.nextElementSibling.querySelector("li:not([hidden])");
    }
    $("found").value = wanted ? `${count} ${count === 1 ? "line" : "lines"}` : "";
    $("found-none").hidden = count > 0 || !wanted;
    list.classList.toggle("empty", count === 0);
  };
  $("find").addEventListener("input", search);
  $("find").form.addEventListener("submit", (event) => {
    event.preventDefault();
    lists[chosen].querySelector("li:not([hidden]) a")?.focus();
  });
  pick.addEventListener("change", () => wishFor(pick.value));

  const kept = T.keep.get("captions", null);
  const wish = data.words.findIndex((words) => words.language === kept);
  // Captions that are drawn into the picture are not said a second time below it, unless asked for.
  const silent = kept === "off" || (kept === null && data.wordsInPicture);
  choose(silent ? "" : String(Math.max(0, wish)));
})();
