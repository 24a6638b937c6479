"use strict";
// Two films kept together by step: the one that ends its step first waits for the other.
(() => {
  const T = globalThis.teachcut;
  const $ = (id) => document.getElementById(id);
  const index = T.index;
  const search = T.makeSearch(index);
  const SIDES = ["a", "b"];
  const rowOf = new Map(index.rows.map((row, i) => [row[12], i]));
  const loading = new Map();
  const sides = { a: null, b: null };
  let steps = [];
  let current = null;
  let running = false;
  document.documentElement.classList.add("js");

  // --- cases ----------------------------------------------------------------------------
  T.addCase = (data) => loading.get(data.id)?.(data);

  /** The case's values come as a script, so that the page works from disk as well. */
  const load = (id) => new Promise((done, fail) => {
    const row = index.rows[rowOf.get(id)];
    if (!row) return fail(new Error(id));
    loading.set(id, done);
    const script = document.createElement("script");
    script.src = `cases/${row[0]}/case.js`;
    script.onerror = () => fail(new Error(id));
    document.head.append(script);
    return undefined;
  });

  const choose = async (side, id) => {
    pause();
    let data;
    try {
      data = await load(id);
    } catch {
      $(`state-${side}`).textContent = "This case is not in the club.";
      return;
    }
    const map = T.makeMap(data);
    const film = $(`film-${side}`);
    sides[side] = { data, map, film, side, waiting: false };
    film.src = `cases/${data.name}/${data.film}`;
    if (data.poster) film.poster = `cases/${data.name}/${data.poster}`;
    else film.removeAttribute("poster");
    const title = $(`title-${side}`);
    title.textContent = data.title;
    title.lang = data.language;
    title.href = `cases/${data.name}/index.html`;
    $(`tooth-${side}`).textContent = data.tooth;
    $(`find-${side}`).value = data.title;
    $(`state-${side}`).textContent = "";
    film.setAttribute("aria-label", data.title);
    watch(sides[side]);
    combine();
    remember();
  };

  const both = () => SIDES.map((side) => sides[side]).filter(Boolean);

  /** The steps of both in the order of the first, each step of the second alone after its neighbour. */
  const combine = () => {
    const { a, b } = sides;
    steps = [];
    if (a) steps = a.data.steps.map((step) => step.id);
    if (b) {
      let place = 0;
      for (const step of b.data.steps) {
        const at = steps.indexOf(step.id);
        if (at >= 0) place = at + 1;
        else steps.splice(place++, 0, step.id);
      }
    }
    drawTable();
    $("none").hidden = both().length === 2;
    $("none").textContent = both().length ? "Choose a second case." : "Choose two cases.";
    if (!steps.includes(current)) current = null;
    const wanted = T.fragment(location.hash).step;
    go(current ?? (steps.includes(wanted) ? wanted : steps.find((id) => both().every((one) => one.map.byId.get(id)?.t)) ?? steps[0]), false);
  };

  // --- the table ------------------------------------------------------------------------
  const cell = (row, text, className) => {
    const node = row.insertCell();
    node.textContent = text;
    if (className) node.className = className;
    return node;
  };
  const SVG = "http://www.w3.org/2000/svg";
  const drawTable = () => {
    const longest = Math.max(1, ...both().flatMap((one) => one.data.steps.map((step) => step.lasted)));
    for (const side of SIDES) $(`head-${side}`).textContent = sides[side]?.data.title ?? { a: "First case", b: "Second case" }[side];
    $("rows").replaceChildren(...steps.map((id) => {
      const found = SIDES.map((side) => sides[side]?.map.byId.get(id) ?? null);
      const row = document.createElement("tr");
      row.dataset.step = id;
      const head = document.createElement("th");
      head.scope = "row";
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = (found[0] ?? found[1]).title;
      button.dir = "auto";
      button.addEventListener("click", () => go(id, true));
      head.append(button);
      row.append(head);
      found.forEach((step, i) => {
        const node = cell(row, "");
        if (!step) {
          node.textContent = sides[SIDES[i]] ? "no such step" : "";
          node.className = "absent";
          return;
        }
        const time = document.createElement("b");
        time.textContent = T.duration(step.lasted);
        const bar = document.createElementNS(SVG, "svg");
        for (const [key, value] of [["width", "100%"], ["height", "12"], ["aria-hidden", "true"]]) bar.setAttribute(key, value);
        const parts = sides[SIDES[i]].data.parts.filter((part) => part.c[1] > step.c[0] && part.c[0] < step.c[1]);
        for (const part of parts) {
          const from = Math.max(part.c[0], step.c[0]) - step.c[0];
          const to = Math.min(part.c[1], step.c[1]) - step.c[0];
          const gap = part.kind === "away";
          const one = document.createElementNS(SVG, gap ? "line" : "rect");
          const x = `${(100 * from) / longest}%`;
          const fields = gap ? { class: "post", x1: x, x2: x, y1: 0, y2: 12 } : { class: part.kind, x, y: 1, width: `${(100 * (to - from)) / longest}%`, height: 10 };
          for (const [key, value] of Object.entries(fields)) one.setAttribute(key, value);
          if (part.kind === "fast") one.setAttribute("fill", "url(#hatch-3)");
          bar.append(one);
        }
        node.append(time, step.t ? "" : " not shown", bar);
      });
      const [a, b] = found;
      const more = a && b ? b.lasted - a.lasted : null;
      const size = more === null ? 0 : Math.round(Math.abs(more));
      cell(row, more === null ? "–" : size === 0 ? "the same" : `${T.duration(size)} ${more > 0 ? "longer" : "shorter"} in the second`);
      return row;
    }));
    mark();
  };

  const mark = () => {
    for (const row of $("rows").rows) {
      const now = row.dataset.step === current;
      row.classList.toggle("now", now);
      if (now) row.querySelector("button").setAttribute("aria-current", "step");
      else row.querySelector("button").removeAttribute("aria-current");
    }
    const step = both().map((one) => one.map.byId.get(current)).find(Boolean);
    $("step-name").textContent = step ? `Step: ${step.title}` : "";
    $("back").disabled = steps.indexOf(current) <= 0;
    $("next").disabled = current === null || steps.indexOf(current) >= steps.length - 1;
  };

  // --- together -------------------------------------------------------------------------
  const into = (one, t) => (Math.ceil(t / one.map.frame - 1e-3) + 0.5) * one.map.frame;

  /** Both films to the start of the step. */
  const go = (id, andPlay) => {
    if (id === undefined || id === null) return;
    current = id;
    for (const one of both()) {
      const step = one.map.byId.get(id);
      one.film.pause();
      one.waiting = !step?.t;
      if (step?.t) one.film.currentTime = into(one, step.t[0]);
      $(`state-${one.side}`).textContent = step ? (step.t ? "" : "This film does not show the step.") : "This case has no such step.";
      show(one, one.film.currentTime);
    }
    mark();
    remember();
    if (andPlay) play();
  };

  const play = () => {
    if (!both().length) return;
    if (both().every((one) => one.waiting)) {
      const next = steps[steps.indexOf(current) + 1];
      if (next === undefined || !running) return void go(current, false);
    }
    running = true;
    for (const one of both()) if (!one.waiting) one.film.play().catch(() => pause());
    draw();
  };
  const pause = () => {
    running = false;
    for (const one of both()) one.film.pause();
    draw();
  };
  const draw = () => {
    $("play").querySelector("use").setAttribute("href", running ? "#i-pause" : "#i-play");
    $("play").querySelector(".vh").textContent = running ? "Pause both" : "Play both";
  };

  /** Called for every frame: the film at the end of its step waits; when both wait, the next step begins. */
  const keepTogether = (one, t) => {
    const step = one.map.byId.get(current);
    if (!running || one.waiting || !step?.t || t < step.t[1] - one.map.frame * 1.5) return;
    one.film.pause();
    one.waiting = true;
    const others = both().filter((other) => other !== one && !other.waiting);
    if (others.length) $(`state-${one.side}`).textContent = "Waiting for the other film.";
    else {
      const next = steps[steps.indexOf(current) + 1];
      if (next === undefined) pause();
      else go(next, true);
    }
  };

  const show = (one, time) => {
    const t = one.map.frameTime(time);
    const now = one.map.at(t);
    const { side } = one;
    const step = one.map.byId.get(current);
    const known = now.clinical !== null;
    const put = (id, text, value) => {
      const node = $(`${id}-${side}`);
      node.textContent = text;
      if (value !== undefined) node.value = value;
    };
    put("clock", known ? T.clock(now.clinical) : "–", known ? now.clinical.toFixed(3) : "");
    const inStep = known && step && step.t ? Math.min(step.lasted, Math.max(0, now.clinical - step.c[0])) : null;
    put("step-clock", inStep === null ? "–" : T.shortClock(inStep), inStep === null ? "" : inStep.toFixed(3));
    put("step-of", step ? `of ${T.duration(step.lasted)}` : "");
    put("speed", T.speedWords(now), now.speed.toFixed(3));
    $(`speed-cell-${side}`).classList.toggle("fast", Math.abs(now.speed - 1) > 1e-6);
  };

  const watch = (one) => {
    const { film } = one;
    const alive = () => sides[one.side] === one;
    if (film.requestVideoFrameCallback) {
      const frame = (_, what) => {
        if (!alive()) return;
        if (!film.seeking) {
          show(one, what.mediaTime);
          keepTogether(one, what.mediaTime);
        }
        film.requestVideoFrameCallback(frame);
      };
      film.requestVideoFrameCallback(frame);
    }
    for (const name of ["timeupdate", "seeked", "ended"]) {
      film.addEventListener(name, () => {
        if (!alive()) return;
        show(one, film.currentTime);
        keepTogether(one, film.ended ? Infinity : film.currentTime);
      });
    }
  };

  // --- choosing, keys, the address ------------------------------------------------------
  for (const side of SIDES) {
    const box = $(`find-${side}`);
    const list = $(`hits-${side}`);
    let at = -1;
    const close = () => {
      list.hidden = true;
      at = -1;
      box.setAttribute("aria-expanded", "false");
      box.removeAttribute("aria-activedescendant");
    };
    const take = (id) => {
      close();
      choose(side, id);
    };
    const open = () => {
      const hits = search(box.value === sides[side]?.data.title ? "" : box.value).slice(0, 8);
      list.replaceChildren(...hits.map((number, i) => {
        const row = index.rows[number];
        const item = document.createElement("li");
        item.id = `hit-${side}-${i}`;
        item.setAttribute("role", "option");
        item.setAttribute("aria-selected", "false");
        item.textContent = row[1];
        item.dir = "auto";
        item.dataset.id = row[12];
        item.addEventListener("pointerdown", (event) => {
          event.preventDefault();
          take(row[12]);
        });
        return item;
      }));
      at = -1;
      list.hidden = hits.length === 0;
      box.setAttribute("aria-expanded", String(hits.length > 0));
    };
    box.addEventListener("focus", () => box.select());
    box.addEventListener("input", open);
    box.addEventListener("click", open);
    box.addEventListener("blur", close);
    box.addEventListener("keydown", (event) => {
      const move = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (move) {
        if (list.hidden) open();
        const items = [...list.children];
        at = (at + move + items.length) % Math.max(1, items.length);
        items.forEach((item, i) => item.setAttribute("aria-selected", String(i === at)));
        if (items[at]) box.setAttribute("aria-activedescendant", items[at].id);
      } else if (event.key === "Enter") {
        const item = list.children[Math.max(0, at)];
        if (!list.hidden && item) take(item.dataset.id);
      } else if (event.key === "Escape" && !list.hidden) close();
      else return;
      event.preventDefault();
    });
  }

  $("play").addEventListener("click", () => (running ? pause() : play()));
  $("back").addEventListener("click", () => go(steps[steps.indexOf(current) - 1], running));
  $("next").addEventListener("click", () => go(steps[steps.indexOf(current) + 1], running));
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input")) return;
    if (T.keep.get("keys", "on") !== "on") return;
    const button = { k: "play", n: "next", p: "back" }[event.key.toLowerCase()];
    if (button) $(button).click();
  });

  const remember = () => {
    const parts = both().map((one) => `${one.side}=${encodeURIComponent(one.data.id)}`);
    if (current) parts.push(`step=${encodeURIComponent(current)}`);
    try {
      history.replaceState(null, "", `#${parts.join("&")}`);
    } catch {
      /* Some browsers refuse this for a page from disk. */
    }
  };

  T.side = { sides, go, play, pause, state: () => ({ current, running }) };
  const wanted = new URLSearchParams(location.hash.slice(1));
  const first = wanted.get("step");
  (async () => {
    for (const side of SIDES) if (wanted.get(side) !== null) await choose(side, wanted.get(side));
    if (first !== null && steps.includes(first)) go(first, false);
  })();
})();
