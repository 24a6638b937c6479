"use strict";
// The club's first page: search, filters, cards, two cases picked for the page side by side.
(() => {
  const T = globalThis.teachcut;
  const $ = (id) => document.getElementById(id);
  const index = T.index;
  const search = T.makeSearch(index);
  const SVG = "http://www.w3.org/2000/svg";
  const AT_ONCE = 24;
  const TABLES = { procedure: "procedures", tooth: "teeth", presenter: "presenters", tag: "tags" };
  document.documentElement.classList.add("js");

  const make = (name, className, text) => {
    const node = document.createElement(name);
    if (className) node.className = className;
    if (text !== undefined) node.textContent = text;
    return node;
  };
  const svg = (name, fields) => {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(fields)) node.setAttribute(key, value);
    return node;
  };

  const KINDS = { r: "real", f: "fast", n: "not_shown", a: "away" };
  const strip = (sketch) => {
    const parts = [...sketch.matchAll(/([rfna])(\d+)/g)].map(([, kind, size]) => [kind, Number(size)]);
    const whole = parts.reduce((sum, [, size]) => sum + size, 0) || 1;
    const bar = svg("svg", { class: "mini", width: "100%", height: 12, "aria-hidden": "true" });
    const posts = [];
    let at = 0;
    for (const [kind, size] of parts) {
      const x = `${(100 * at) / whole}%`;
      const width = `${(100 * size) / whole}%`;
      if (kind === "a") {
        const gap = svg("svg", { x, width, height: 12, overflow: "visible" });
        for (const end of ["0", "100%"]) gap.append(svg("line", { class: "post", x1: end, x2: end, y1: 0, y2: 12 }));
        posts.push(gap);
      } else {
        const one = svg("rect", { class: KINDS[kind], x, y: 1, width, height: 10 });
        if (kind === "f") one.setAttribute("fill", "url(#hatch-3)");
        bar.append(one);
      }
      at += size;
    }
    bar.append(...posts);
    return bar;
  };

  const tooth = (text) => {
    const [fdi, universal] = text.split(" ");
    const node = make("span", "tooth");
    node.append(make("span", "vh", "Tooth "));
    for (const [number, system] of [[fdi, "ISO"], [universal, "Universal"]]) {
      const cell = make("span", "cell");
      cell.append(make("b", "", number), " ", make("small", "", system));
      node.append(cell);
    }
    return node;
  };

  const picked = [];
  const card = (number) => {
    const [name, title, teeth, procedure, presenter, tags, , film, total, sketch, poster, language] = index.rows[number];
    const item = make("li", "card");
    const cover = make("a", "cover");
    cover.href = `cases/${name}/index.html`;
    const frame = make("span", "poster");
    if (poster) {
      const picture = make("img");
      Object.assign(picture, { src: `cases/${name}/poster.jpg`, alt: "", width: 480, height: 270, loading: "lazy" });
      frame.append(picture);
    }
    const plate = make("span", "plate");
    plate.append(make("b", "", T.duration(total)), " in the room");
    frame.append(plate);
    const label = make("span", "name", title);
    label.dir = "auto";
    label.lang = language;
    cover.append(frame, strip(sketch), label);
    const meta = make("p", "meta");
    if (teeth >= 0) meta.append(tooth(index.teeth[teeth]));
    if (procedure >= 0) meta.append(make("bdi", "", index.procedures[procedure]));
    const more = make("p", "meta small");
    if (presenter >= 0) more.append(make("bdi", "", index.presenters[presenter]), " · ");
    more.append(`${T.duration(film)} of film`);
    for (const tag of tags) more.append(" · ", make("bdi", "", index.tags[tag]));
    const tick = make("label", "tick");
    const box = make("input");
    box.type = "checkbox";
    box.checked = picked.includes(number);
    box.addEventListener("change", () => pick(number, box.checked));
    const words = make("span", "", "Side by side");
    words.append(make("span", "vh", `: ${title}`));
    tick.append(box, words);
    item.append(cover, meta, more, tick);
    return item;
  };

  const pick = (number, on) => {
    if (on) picked.push(number);
    else picked.splice(picked.indexOf(number), 1);
    if (picked.length > 2) picked.shift();
    drawPair();
    for (const [i, box] of [...document.querySelectorAll("#cards input[type=checkbox]")].entries()) box.checked = picked.includes(shown[i]);
  };

  const drawPair = () => {
    $("pair").hidden = picked.length === 0;
    const names = picked.map((number) => index.rows[number][1]);
    $("pair-text").textContent = names.length === 2 ? `${names[0]} and ${names[1]}` : `${names[0] ?? ""}: pick a second case`;
    const query = picked.map((number, i) => `${"ab"[i]}=${encodeURIComponent(index.rows[number][12])}`).join("&");
    $("pair-go").href = `side.html#${query}`;
  };

  // --- the search -----------------------------------------------------------------------
  const box = $("q");
  const selects = [...document.querySelectorAll("[data-facet]")];
  let found = [];
  let shown = [];

  const filters = () => selects.filter((one) => one.value !== "").map((one) => {
    const facet = one.dataset.facet;
    return [facet, facet === "step" ? Number(one.value) : index[TABLES[facet]].indexOf(one.value)];
  });

  const draw = () => {
    $("cards").replaceChildren(...shown.map(card));
    $("count").textContent = `${found.length} ${found.length === 1 ? "case" : "cases"}`;
    $("none").hidden = found.length > 0;
    $("more").hidden = shown.length === found.length;
    $("clear").hidden = box.value === "" && filters().length === 0;
  };

  /** One keystroke: search and draw the first cards. */
  const update = () => {
    found = search(box.value, filters());
    shown = found.slice(0, AT_ONCE);
    draw();
  };
  T.club = { update, search, found: () => found };

  let later = 0;
  const remember = () => {
    clearTimeout(later);
    later = setTimeout(() => {
      const parts = [["q", box.value], ...selects.map((one) => [one.dataset.facet, one.value])].filter(([, value]) => value !== "");
      const hash = parts.map(([name, value]) => `${name}=${encodeURIComponent(value)}`).join("&");
      try {
        history.replaceState(null, "", hash ? `#${hash}` : location.pathname + location.search);
      } catch {
        /* Some browsers refuse this for a page from disk. */
      }
    }, 400);
  };

  const fromAddress = () => {
    const wanted = new URLSearchParams(location.hash.slice(1));
    box.value = wanted.get("q") ?? "";
    for (const one of selects) {
      one.value = wanted.get(one.dataset.facet) ?? "";
      if (one.selectedIndex < 0) one.value = "";
    }
    update();
  };

  for (const one of [box, ...selects]) {
    one.addEventListener("input", () => {
      update();
      remember();
    });
  }
  $("search").addEventListener("submit", (event) => {
    event.preventDefault();
    $("cards").querySelector("a")?.focus();
  });
  $("clear").addEventListener("click", () => {
    box.value = "";
    for (const one of selects) one.value = "";
    update();
    remember();
    box.focus();
  });
  $("more").addEventListener("click", () => {
    const first = shown.length;
    shown = found.slice(0, first + AT_ONCE);
    $("cards").append(...shown.slice(first).map(card));
    $("more").hidden = shown.length === found.length;
    $("cards").children[first].querySelector("a").focus();
  });
  $("pair-clear").addEventListener("click", () => {
    picked.length = 0;
    drawPair();
    for (const one of document.querySelectorAll("#cards input[type=checkbox]")) one.checked = false;
    box.focus();
  });
  $("filter-box").open = matchMedia("(min-width: 720px)").matches;
  fromAddress();
  if (filters().length) $("filter-box").open = true;
})();
