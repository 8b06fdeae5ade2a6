"use strict";
// Sending what the phone keeps. Received is only what our own server says it received, under this sheet's own key.
(() => {
  const w = window.washbell;
  const PATIENCE_MS = 30000;
  const channel = "BroadcastChannel" in window ? new BroadcastChannel("washbell") : null;
  const listeners = [];

  w.tell = (message) => {
    listeners.forEach((hear) => hear(message, false));
    if (channel) channel.postMessage(message);
  };
  w.hear = (act) => listeners.push(act);
  if (channel) channel.onmessage = (event) => listeners.forEach((hear) => hear(event.data, true));

  function stranger(answer) {
    if (answer.type === "opaqueredirect" || answer.ok) return "portal";
    if (answer.status === 401) return "log-in";
    return answer.status === 403 || answer.status === 404 ? "denied" : "slow";
  }

  async function ask(address, more) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), w.patience || PATIENCE_MS);
    try {
      const answer = await fetch(address, Object.assign({
        redirect: "manual", cache: "no-store", credentials: "same-origin", signal: stop.signal,
        headers: { Accept: "application/json" },
      }, more));
      const text = await answer.text();
      let found = null;
      try { found = JSON.parse(text); } catch (_) { /* a page, not our answer */ }
      return found && found.app === "washbell" ? found : { state: stranger(answer) };
    } catch (_) {
      return { state: stop.signal.aborted ? "slow" : "offline" };
    } finally {
      clearTimeout(timer);
    }
  }

  function body(draft, more) {
    return Object.entries(Object.assign({}, draft.fields, { key: draft.key, base: draft.base, form: draft.form }, more));
  }

  async function ready(draft) {
    const fresh = await ask(w.data.token);
    if (fresh.state === "ready" && String(fresh.person) !== draft.person) return { state: "other" };
    return fresh;
  }

  async function post(draft) {
    const fresh = await ready(draft);
    if (fresh.state !== "ready") return fresh;
    return ask(`/schools/${draft.school}/weeks/${draft.week}/send`, {
      method: "POST", body: new URLSearchParams(body(draft)),
      headers: { Accept: "application/json", "X-CSRFToken": fresh.token },
    });
  }

  const newKey = () => [...crypto.getRandomValues(new Uint8Array(24))].map((n) => n.toString(16).padStart(2, "0")).join("");

  // After the answer: forget what was received; what was changed meanwhile stays, as a change of what was sent.
  function after(sent, answer) {
    return w.update(sent.id, (draft) => {
      if (!draft) return undefined;
      if (answer.state === "received") {
        if (draft.changes === sent.changes) return undefined;
        return Object.assign(draft, { key: newKey(), base: answer.number });
      }
      if (["refused", "stale", "denied", "no-version"].includes(answer.state)) draft.queued = false;
      draft.state = answer.state;
      return draft;
    });
  }

  async function sendOne(id) {
    const draft = await w.get(id);
    if (!draft || !draft.queued) return;
    w.tell({ id, state: "sending" });
    let answer = await post(draft);
    if (answer.state === "received" && (answer.key !== draft.key || !answer.reference)) answer = { state: "portal" };
    await after(draft, answer);
    w.tell(Object.assign({ id }, answer, { token: undefined }));
  }

  // One tab sends at a time. Where the browser cannot lock, the server's own key keeps it to one record.
  w.send = async (ids) => {
    const work = async (lock) => {
      if (!lock) ids.forEach((id) => w.tell({ id, state: "busy" }));
      else for (const id of ids) await sendOne(id);
    };
    if (navigator.locks) await navigator.locks.request("washbell-send", { ifAvailable: true }, work);
    else await work(true);
  };

  w.sendWaiting = async (person) => {
    const waiting = (await w.all(person)).filter((draft) => draft.queued);
    if (!waiting.length) return;
    if (navigator.onLine === false) waiting.forEach((draft) => w.tell({ id: draft.id, state: "offline" }));
    else await w.send(waiting.map((draft) => draft.id));
  };

  // Lead the person to the page of the server that shows what differs or what is wrong, with all that was typed.
  w.lead = async (draft, act) => {
    const fresh = await ready(draft);
    if (fresh.state !== "ready") return w.tell({ id: draft.id, state: fresh.state });
    const form = w.made("form", "", { method: "post", action: `/schools/${draft.school}/weeks/${draft.week}`, hidden: true });
    for (const [name, value] of body(draft, { csrf_token: fresh.token, act })) {
      form.append(w.made("input", "", { type: "hidden", name, value }));
    }
    document.body.append(form);
    return form.submit();
  };
})();
