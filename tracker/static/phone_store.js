"use strict";
// What the phone keeps: one record for each person, school and week. Nothing depends on the phone's clock.
window.washbell = (() => {
  const box = document.getElementById("phone");
  const data = box ? box.dataset : {};

  function said(name, values) {
    const text = box.content.querySelector(`[data-said="${name}"]`).textContent;
    return text.replace(/\{(\w+)\}/g, (_, key) => (values && key in values ? values[key] : ""));
  }

  function part(id) {
    return document.importNode(box.content.getElementById(id), true);
  }

  function made(tag, text, more) {
    return Object.assign(document.createElement(tag), { textContent: text }, more);
  }

  let opening = null;
  function opened() {
    opening = opening || new Promise((done, fail) => {
      const ask = indexedDB.open("washbell", 1);
      ask.onupgradeneeded = () => {
        ask.result.createObjectStore("drafts", { keyPath: "id" });
        ask.result.createObjectStore("phone");
      };
      ask.onsuccess = () => done(ask.result);
      ask.onerror = ask.onblocked = () => fail(ask.error || new Error("blocked"));
    });
    return opening;
  }

  // Run `act` on a store; done when the phone has really written.
  async function within(name, mode, act) {
    const base = await opened();
    return new Promise((done, fail) => {
      const work = base.transaction(name, mode);
      let answer;
      act(work.objectStore(name), (value) => { answer = value; });
      work.oncomplete = () => done(answer);
      work.onerror = work.onabort = () => fail(work.error || new Error("not kept"));
    });
  }

  const get = (id) => within("drafts", "readonly", (store, give) => {
    store.get(id).onsuccess = (e) => give(e.target.result);
  });
  const remove = (id) => within("drafts", "readwrite", (store) => { store.delete(id); });
  const all = (person) => within("drafts", "readonly", (store, give) => {
    store.getAll().onsuccess = (e) => give(e.target.result.filter((d) => d.person === person));
  });
  // Read, change and write in one step, so that two tabs never undo one another's cells.
  const update = (id, change) => within("drafts", "readwrite", (store, give) => {
    store.get(id).onsuccess = (e) => {
      const after = change(e.target.result);
      if (after) store.put(after); else if (e.target.result) store.delete(id);
      give(after);
    };
  });
  const recall = (name) => within("phone", "readonly", (store, give) => {
    store.get(name).onsuccess = (e) => give(e.target.result);
  });
  const note = (name, value) => within("phone", "readwrite", (store) => { store.put(value, name); });

  return { box, data, said, part, made, get, remove, all, update, recall, note };
})();
