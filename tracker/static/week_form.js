"use strict";
// The sheet's form: every cell kept as it is typed, where the numbers are in words, live totals.
(() => {
  const w = window.washbell;
  const CARRIED = ["csrf_token", "act", "key", "base", "form", "opened", "differs"];
  const KEEP_AFTER_MS = 250;
  const ANNOUNCE_AFTER_MS = 1200;

  const fields = (form) => [...form.elements].filter((e) => e.name && e.tagName !== "BUTTON" && !CARRIED.includes(e.name));
  const value = (e) => (e.type === "checkbox" && !e.checked ? "" : e.value);
  const carried = (form, name) => form.elements.namedItem(name);

  function snapshot(form) {
    const found = {};
    fields(form).forEach((e) => { found[e.name] = value(e); });
    return found;
  }

  function set(e, text) {
    if (value(e) === text) return;
    if (e.type === "checkbox") e.checked = Boolean(text);
    else e.value = text;
    if (e.tagName === "SELECT" && e.value !== text) e.add(new Option(text, text, true, true));
    const fold = e.closest("details");
    if (fold) fold.open = true;
  }

  // The sheet as it can be stored: no token, no scripts.
  function definition(form) {
    const copy = form.cloneNode(true);
    copy.querySelectorAll("[name=csrf_token], script, .phone-state, .live").forEach((e) => e.remove());
    return copy.outerHTML;
  }

  function addRow(form, table) {
    const rows = form.querySelectorAll(`[id="t.${table}"] fieldset`);
    const last = rows[rows.length - 1], from = rows.length, to = from + 1;
    const row = last.cloneNode(true);
    const key = table.replace(/s$/, "");
    row.querySelectorAll("[name], label, legend").forEach((e) => {
      ["id", "name", "for"].forEach((a) => {
        if (e.hasAttribute(a)) e.setAttribute(a, e.getAttribute(a).replace(`${key}:${from}:`, `${key}:${to}:`));
      });
      const label = e.getAttribute("aria-label");
      if (label) e.setAttribute("aria-label", label.replace(String(from), String(to)));
      if (e.tagName === "LEGEND") e.textContent = e.textContent.replace(String(from), String(to));
      if (e.name) { e.value = ""; e.removeAttribute("aria-invalid"); }
    });
    last.after(row);
    return row;
  }

  function fill(form, draft) {
    Object.entries(draft.fields).forEach(([name, text]) => {
      const grown = /^c\.(out|session):(\d+):/.exec(name);
      const missing = () => text && !carried(form, name);
      const table = grown && (grown[1] === "out" ? "out" : "sessions");
      const rows = () => form.querySelectorAll(`[id="t.${table}"] fieldset`).length;
      while (grown && missing() && rows() && rows() < +grown[2]) addRow(form, table);
      if (missing()) form.append(w.made("input", "", { type: "hidden", name }));
    });
    fields(form).forEach((e) => set(e, draft.fields[e.name] || ""));
    ["key", "base", "form"].forEach((name) => { carried(form, name).value = draft[name]; });
  }

  // --- live totals ---
  const digit = (c) => {
    let n = 0;
    while (/\p{Nd}/u.test(String.fromCodePoint(c.codePointAt(0) - 1 - n))) n += 1;
    return n % 10;
  };
  const number = (e) => {
    const text = e.value.trim().replace(/\p{Nd}/gu, digit);
    return /^\d+$/.test(text) ? Number(text) : null;
  };

  function total(cells) {
    const counts = cells.map(number).filter((n) => n !== null);
    if (!counts.length) return "";
    const sum = w.said("total", { total: counts.reduce((a, b) => a + b, 0) });
    const empty = cells.length - counts.length;
    return empty ? w.said("empty", { total: sum, empty }) : sum;
  }

  function show(place, className, text) {
    let line = place.querySelector(`.${className}`);
    if (!line) place.append(line = w.made("span", "", { className: `live ${className}` }));
    line.textContent = text;
  }

  function totals(table) {
    const rows = [...table.tBodies[0].rows].filter((row) => row.querySelector("input.count"));
    const columns = [];
    rows.forEach((row) => {
      const cells = [...row.querySelectorAll("input.count")];
      show(row.cells[0], "row-total", total(cells));
      cells.forEach((e) => {
        const at = e.closest("td").cellIndex;
        (columns[at] = columns[at] || []).push(e);
      });
    });
    const buttons = table.tFoot.rows[table.tFoot.rows.length - 1];
    columns.forEach((cells, at) => {
      const sum = cells.map(number).filter((n) => n !== null);
      show(buttons.cells[at], "day-total", sum.length ? String(sum.reduce((a, b) => a + b, 0)) : "");
    });
    show(table.caption, "unit-total", total(columns.flat()));
  }

  const totalled = (form) => [...form.querySelectorAll("table.sheet")].filter((t) => t.querySelector("[value^='zeros:']"));

  // --- where the numbers are ---
  function bar(form) {
    const place = w.made("div", "", { className: "phone-state" });
    const words = w.made("p", "");
    words.setAttribute("role", "status");
    const acts = w.made("span", "");
    const aside = w.made("p", "", { className: "unseen live-said" });
    aside.setAttribute("aria-live", "polite");
    place.append(words, acts, aside);
    form.append(place);
    return { place, words, acts, aside };
  }

  w.bindForm = (form, draft, person, offline) => {
    const { school, week, step, from } = form.dataset;
    const id = `${person}/${school}/${week}`;
    const { place, words, acts, aside } = bar(form);
    const dirty = new Set();
    let timer = 0, announcing = 0, pressed = null;

    const button = (name, act, quiet) => acts.append(w.made("button", w.said(name), { type: "button", className: quiet ? "quiet" : "", onclick: act }));
    const link = (name, href) => acts.append(w.made("a", w.said(name), { href, className: "go" }));
    const retry = () => queue().then(() => w.send([id]));

    function say(state, values) {
      place.dataset.state = state;
      words.textContent = w.said(state, values);
      if (state === "typing") return; // nothing may move under the finger
      acts.textContent = "";
      if (["offline", "slow", "portal", "busy"].includes(state)) button("send", retry);
      if (["log-in", "portal", "other"].includes(state)) link("enter", `${w.data.logIn}?next=${encodeURIComponent(location.pathname)}`);
      if (["refused", "stale"].includes(state)) button("look", async () => w.lead(await w.get(id), "check"));
      if (["received", "elsewhere"].includes(state)) link("again", location.pathname);
    }

    async function erase(event) {
      if (event.target.textContent !== w.said("sure")) { event.target.textContent = w.said("sure"); return; }
      await w.remove(id);
      location.reload();
    }

    function always() {
      const line = w.made("p", "", { className: "buttons live" });
      line.append(w.made("button", w.said("print"), { type: "button", onclick: () => window.print() }));
      line.append(w.made("button", w.said("erase"), { type: "button", onclick: erase }));
      place.after(line);
    }

    const fresh = () => ({
      id, person, school, week, html: step === "sheet" ? definition(form) : "", title: document.title,
      heading: document.querySelector("h1").outerHTML, changes: 0, queued: false, state: "only",
      key: carried(form, "key").value, base: carried(form, "base").value, form: carried(form, "form").value, fields: snapshot(form),
    });

    async function keep(names) {
      try {
        const kept = await w.update(id, (old) => {
          const now = old || fresh();
          names.forEach((name) => { now.fields[name] = value(fields(form).find((e) => e.name === name)); });
          return Object.assign(now, { touched: true, queued: false, state: "only", changes: now.changes + 1, day: w.data.today || now.day });
        });
        ["key", "base", "form"].forEach((name) => { carried(form, name).value = kept[name]; });
        if (!dirty.size) say("only");
        names.forEach((name) => w.tell({ id, cell: name, text: kept.fields[name] }));
        if (navigator.storage && navigator.storage.persist) navigator.storage.persist();
      } catch (_) {
        say("unkept");
      }
    }

    function flush() {
      clearTimeout(timer);
      if (!dirty.size) return Promise.resolve();
      const names = [...dirty];
      dirty.clear();
      return keep(names);
    }

    const last = snapshot(form);
    function changed(e) {
      if (!e.name || CARRIED.includes(e.name) || last[e.name] === value(e)) return;
      last[e.name] = value(e);
      dirty.add(e.name);
      if (place.dataset.state !== "typing") say("typing");
      clearTimeout(timer);
      timer = setTimeout(flush, KEEP_AFTER_MS);
      const table = e.closest("table.sheet");
      if (!table || !table.querySelector("[value^='zeros:']")) return;
      totals(table);
      clearTimeout(announcing);
      announcing = setTimeout(() => {
        aside.textContent = w.said("said-total", { unit: table.caption.firstElementChild.textContent, total: table.caption.querySelector(".unit-total").textContent });
      }, ANNOUNCE_AFTER_MS);
    }

    async function queue() {
      await flush();
      return w.update(id, (old) => Object.assign(old || fresh(), { touched: true, queued: true, day: w.data.today || (old && old.day) }));
    }

    // Buttons that fill or add: here at once, on the server where there is no script.
    function local(act) {
      const [name, table, column] = act.split(":");
      if (name === "more") return addRow(form, table).querySelector("input, select").focus();
      form.querySelectorAll(`[id="t.${table}"] tbody tr`).forEach((row) => {
        const e = row.cells[+column + 1] && row.cells[+column + 1].querySelector("input, select");
        if (e && !e.value) { e.value = name === "zeros" ? "0" : "working"; changed(e); }
      });
      return undefined;
    }

    form.addEventListener("click", (e) => { pressed = e.target.closest("button") || pressed; });
    form.addEventListener("input", (e) => changed(e.target));
    form.addEventListener("change", (e) => { changed(e.target); flush(); });
    document.addEventListener("visibilitychange", () => { if (document.hidden) flush(); });
    window.addEventListener("pagehide", flush);
    form.addEventListener("submit", async (event) => {
      const act = pressed ? pressed.value : "check";
      if (/^(zeros|rest|more):/.test(act)) {
        event.preventDefault();
        return local(act);
      }
      const cut = navigator.onLine === false;
      if (act !== "send" && !cut && !offline) return undefined;
      event.preventDefault();
      if (act === "send" || (act === "check" && cut)) {
        await queue();
        return cut ? say("offline") : w.send([id]);
      }
      await flush();
      const kept = await w.get(id);
      return cut || !kept ? say("only") : w.lead(kept, act);
    });

    w.hear(async (message, fromOther) => {
      if (message.id !== id) return;
      if (message.cell) {
        const e = fields(form).find((one) => one.name === message.cell);
        if (fromOther && e && e !== document.activeElement) { set(e, message.text); last[e.name] = message.text; totalled(form).forEach(totals); }
      } else if (message.state === "received") {
        const left = await w.get(id);
        if (left) return say("only");
        [...form.children].forEach((e) => { if (e !== place) e.inert = true; });
        say(fromOther ? "elsewhere" : "received", message);
        place.classList.add("received");
        place.scrollIntoView({ block: "center" });
      } else {
        say(message.state === "no-version" ? "stale" : message.state, message);
        if (!fromOther && step === "check" && ["refused", "stale"].includes(message.state)) w.lead(await w.get(id), "check");
      }
      return undefined;
    });

    async function start() {
      if (step === "conflict") {
        if (!form.querySelector(".difference")) await w.remove(id);
        return place.remove();
      }
      if (step === "sheet") always();
      if (step === "sheet" && from === "opened") {
        if (draft && draft.touched) {
          const newer = carried(form, "base").value !== draft.base;
          fill(form, draft);
          Object.assign(last, snapshot(form));
          say(draft.queued || draft.state !== "only" ? (draft.state === "only" ? "offline" : draft.state) : newer ? "newer" : "back", { problems: "" });
        } else {
          say("none");
          if (!offline && carried(form, "base").value === "0") await w.update(id, fresh);
        }
      } else {
        await w.update(id, (old) => Object.assign(fresh(), { touched: true, html: (old && old.html) || fresh().html, changes: old ? old.changes + 1 : 1, day: w.data.today }));
        say("only");
      }
      totalled(form).forEach(totals);
      return undefined;
    }
    return start();
  };
})();
