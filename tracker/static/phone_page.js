"use strict";
// On each page of somebody who keeps sheets: open, list and send what the phone holds; ask at log-out.
(() => {
  const w = window.washbell;
  if (!w.box || !window.indexedDB) return;
  const offline = document.getElementById("offline");
  const AGAIN_MS = 60000;
  const OLD_MS = 30 * 24 * 3600 * 1000;

  const titled = (draft) => new DOMParser().parseFromString(draft.heading, "text/html").body.textContent.trim();
  const old = (draft) => Boolean(w.data.today && draft.day && Date.parse(w.data.today) - Date.parse(draft.day) > OLD_MS);

  function stored(draft) {
    const page = new DOMParser().parseFromString(draft.heading + draft.html, "text/html");
    const form = page.querySelector("form");
    form.dataset.from = "opened";
    offline.textContent = "";
    offline.append(...[...page.body.children].map((e) => document.importNode(e, true)));
    document.title = draft.title;
    return offline.querySelector("form");
  }

  function line(draft) {
    const item = document.createElement("li");
    const words = w.made("span", ` ${w.said(old(draft) ? "old" : draft.queued ? "queued" : "only")} `);
    words.setAttribute("role", "status");
    const erase = w.made("button", w.said("erase"), { type: "button", className: "quiet" });
    erase.onclick = async () => {
      if (erase.textContent === w.said("erase")) { erase.textContent = w.said("sure"); return; }
      await w.remove(draft.id);
      item.textContent = w.said("erased");
    };
    item.append(w.made("a", titled(draft), { href: `/schools/${draft.school}/weeks/${draft.week}` }), words);
    if (draft.queued) item.append(w.made("button", w.said("send"), { type: "button", onclick: () => w.send([draft.id]) }));
    item.append(erase);
    w.hear((message) => {
      if (message.id !== draft.id || message.cell) return;
      words.textContent = ` ${w.said(message.state, message)} `;
      if (message.state === "received") erase.remove();
    });
    return item;
  }

  async function list(person) {
    const drafts = (await w.all(person)).filter((draft) => draft.touched);
    if (!drafts.length) return;
    const place = w.part("phone-list");
    drafts.forEach((draft) => place.querySelector("ul").append(line(draft)));
    (offline || document.getElementById("main")).append(place);
  }

  async function forget(person, everything) {
    for (const draft of await w.all(person)) if (everything || !draft.touched) await w.remove(draft.id);
    await w.note("person", "");
  }

  function askAtLogOut(person) {
    const out = document.querySelector("form.out");
    if (!out) return;
    out.addEventListener("submit", async (event) => {
      event.preventDefault();
      const kept = (await w.all(person)).filter((draft) => draft.touched);
      const leave = async (everything) => { await forget(person, everything); out.submit(); };
      if (!kept.length) return leave(false);
      const page = w.part("phone-out");
      kept.forEach((draft) => page.querySelector("ul").append(w.made("li", titled(draft))));
      page.querySelector("[data-do=keep]").onclick = () => leave(false);
      page.querySelector("[data-do=erase]").onclick = () => leave(true);
      const main = document.getElementById("main");
      main.textContent = "";
      main.append(page);
      return main.focus();
    });
  }

  async function begin() {
    if (!offline) await w.note("person", w.data.person);
    const person = w.data.person || (await w.recall("person"));
    if (!person) return;
    askAtLogOut(person);
    const received = document.querySelector(".received[data-key]");
    if (received) for (const draft of await w.all(person)) if (draft.key === received.dataset.key) await w.remove(draft.id);
    const [, school, week] = /^\/schools\/(\d+)\/weeks\/([\d-]+)/.exec(location.pathname) || [];
    const draft = week ? await w.get(`${person}/${school}/${week}`) : undefined;
    const form = offline ? draft && draft.html && stored(draft) : document.querySelector("form.week-sheet");
    if (form) await w.bindForm(form, draft, person, Boolean(offline));
    else if (offline || /\/log$/.test(location.pathname)) await list(person);
    const send = () => w.sendWaiting(person);
    window.addEventListener("online", send);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
    setInterval(() => { if (!document.hidden) send(); }, AGAIN_MS);
    await send();
  }

  if ("serviceWorker" in navigator && window.isSecureContext) navigator.serviceWorker.register(w.data.worker).catch(() => {});
  w.begun = begin().catch(() => {}); // a browser that keeps nothing still has the plain form
})();
