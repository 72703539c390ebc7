"use strict";

/* Bringing files, and following the job at work. Texts are set as text, never as markup. */
(() => {
  const at = (id) => document.getElementById(id);
  const SILENT = "The desk does not answer. Open it again from its icon.";

  /* Watch the job at work. Tabs share the few connections that a browser has to one machine, and
     would wait for each other for ever: one that nobody looks at lets go of its own. */
  function watched(heard, silent) {
    let events = null;
    const shut = () => { events?.close(); events = null; };
    const look = () => {
      if (document.hidden) shut();
      if (document.hidden || events) return;
      events = new EventSource("/events");
      events.onmessage = ({ data }) => heard(JSON.parse(data));
      events.onerror = () => silent(events.readyState === EventSource.CLOSED);
    };
    document.addEventListener("visibilitychange", look);
    window.addEventListener("pageshow", look);
    window.addEventListener("pagehide", shut);
    look();
    return () => {
      shut();
      document.removeEventListener("visibilitychange", look);
      window.removeEventListener("pageshow", look);
    };
  }

  /* What the desk answers, from JSON; null where it does not. */
  async function answered(address, options) {
    const answer = await fetch(address, options).catch(() => null);
    return answer?.ok ? answer.json().catch(() => null) : null;
  }

  /* Say that it does not answer, in the place of a map. */
  function silentIn(place) {
    place.replaceChildren(Object.assign(document.createElement("p"), { className: "wrong", textContent: SILENT }));
  }

  /* A page that loads anew would take back whoever is on the way to another. */
  let leaving = false;
  window.addEventListener("beforeunload", () => {
    leaving = true;
    setTimeout(() => { leaving = false; }, 10_000);
  });
  window.desk = { SILENT, watched, answered, silentIn, isLeaving: () => leaving };

  // Files

  /* A dropped folder is read entry by entry: its files come with the path below it. */
  async function below(entry, path, found) {
    if (entry.isFile) {
      const file = await new Promise((done, failed) => entry.file(done, failed));
      found.push({ file, name: path + file.name });
      return;
    }
    const reader = entry.createReader();
    for (;;) {
      const some = await new Promise((done, failed) => reader.readEntries(done, failed));
      if (!some.length) return;
      for (const one of some) await below(one, `${path}${entry.name}/`, found);
    }
  }

  async function dropped(transfer) {
    const entries = [...transfer.items].map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry());
    const found = [];
    for (const entry of entries) if (entry) await below(entry, "", found);
    return found;
  }

  const size = (bytes) =>
    bytes >= 1e8 ? `${(bytes / 1e9).toFixed(1)} GB` : `${(bytes / 1e6).toFixed(1)} MB`;

  async function asked(method, address, body) {
    const answer = await fetch(address, { method, body }).catch(() => { throw new Error(SILENT); });
    const told = await answer.json().catch(() => ({}));
    if (!answer.ok) throw new Error(told.told || "The desk did not take it. Is it still open?");
    return told;
  }

  function send(address, file, progress, stopped) {
    return new Promise((done, failed) => {
      const request = new XMLHttpRequest();
      request.open("PUT", address);
      request.upload.onprogress = (event) => progress(event.loaded);
      request.onload = () => {
        let told = {};
        try { told = JSON.parse(request.responseText); } catch { /* no answer in words */ }
        if (request.status === 200) done(told);
        else failed(new Error(told.told || `${file.name} could not be brought.`));
      };
      request.onerror = () => failed(new Error(`${file.name} could not be read or sent.`));
      request.onabort = () => failed(new Error("Stopped. Nothing of it was kept."));
      stopped.request = request;
      request.send(file);
    });
  }

  const isBringing = () => at("bringing")?.hidden === false;

  async function bring(list) {
    const wrong = at("bring-wrong");
    const files = await list.catch(() => null);
    if (isBringing()) {
      wrong.textContent = "Others are on their way still: bring these once they are there.";
      return;
    }
    if (!files?.length) {
      wrong.textContent = files ? "There was no file in it." : "It could not be read. Is the stick still there?";
      return;
    }
    const total = files.reduce((sum, one) => sum + one.file.size, 0);
    const bar = at("bring-bar");
    const stopped = {};
    let sent = 0;
    wrong.textContent = "";
    at("bringing").hidden = false;
    at("bring-stop").onclick = () => { stopped.asked = true; stopped.request?.abort(); };
    const show = (more) => {
      bar.value = total ? (sent + more) / total : 1;
      at("bring-told").textContent = `${size(sent + more)} of ${size(total)} in ${files.length} ${files.length === 1 ? "file" : "files"}`;
    };
    let delivery = "";
    const leave = (event) => event.preventDefault();
    const drop = () => { if (delivery) navigator.sendBeacon(`/bring/${delivery}/drop`); };
    window.addEventListener("beforeunload", leave);
    window.addEventListener("pagehide", drop);
    try {
      const form = new URLSearchParams({ bytes: total });
      delivery = (await asked("POST", "/bring/begin", form)).delivery;
      for (const { file, name } of files) {
        show(0);
        if (stopped.asked) throw new Error("Stopped. Nothing of it was kept.");
        await send(`/bring/${delivery}/file?name=${encodeURIComponent(name)}`, file, show, stopped);
        sent += file.size;
      }
      show(0);
      const { told } = await asked("POST", `/bring/${delivery}/end`);
      at("bring-told").textContent = told;
    } catch (error) {
      at("bring-told").textContent = "";
      wrong.textContent = error.message;
      if (delivery) await asked("POST", `/bring/${delivery}/drop`).catch(() => {});
    }
    window.removeEventListener("beforeunload", leave);
    window.removeEventListener("pagehide", drop);
    at("bringing").hidden = true;
  }

  const drop = at("drop");
  if (drop) {
    for (const name of ["dragover", "dragenter"]) {
      document.addEventListener(name, (event) => {
        event.preventDefault();
        drop.classList.add("over");
      });
    }
    document.addEventListener("dragleave", () => drop.classList.remove("over"));
    document.addEventListener("drop", (event) => {
      event.preventDefault();
      drop.classList.remove("over");
      bring(dropped(event.dataTransfer));
    });
    for (const id of ["pick-files", "pick-folder"]) {
      at(id).addEventListener("change", (event) => {
        const files = [...event.target.files];
        bring(Promise.resolve(files.map((file) => ({ file, name: file.webkitRelativePath || file.name }))));
        event.target.value = "";
      });
    }
  }

  // Forms: what is wrong is told beside its box, soon after it is typed

  const form = document.querySelector("[data-check]");
  if (form) {
    let asked = 0;
    const silent = Object.assign(document.createElement("p"), { className: "wrong", role: "alert" });
    form.querySelector(".beside:has(.chief)").before(silent);
    const check = async () => {
      const mine = ++asked;
      const body = new URLSearchParams(new FormData(form));
      const answer = await fetch(form.dataset.check, { method: "POST", body }).catch(() => null);
      const wrong = answer?.ok && (await answer.json().catch(() => null));
      if (mine !== asked) return;
      silent.textContent = answer ? "" : `${SILENT} What you type is not kept meanwhile.`;
      if (!wrong) return;
      for (const line of form.querySelectorAll(".wrong")) {
        const name = line.id.replace(/-wrong$/, "");
        const box = at(name);
        // A box that nobody has come to yet is not wrong for being empty.
        const text = box?.value === "" && !box.dataset.touched ? "" : wrong[name] || "";
        if (line.textContent !== text) line.textContent = text;
        if (text) box?.setAttribute("aria-invalid", "true");
        else box?.removeAttribute("aria-invalid");
      }
      form.dispatchEvent(new CustomEvent("told", { detail: wrong }));
    };
    let waiting = 0;
    const soon = (wait) => {
      clearTimeout(waiting);
      waiting = setTimeout(check, wait);
    };
    form.addEventListener("input", () => soon(500));
    form.addEventListener("change", () => soon(0));
    form.addEventListener("focusout", (event) => { event.target.dataset.touched = "yes"; });
  }

  /* An address that names a box leads to it, or to the first of those that it stands for. */
  const named = decodeURIComponent(location.hash.slice(1));
  if (named && document.querySelector(".table-form")) {
    const boxes = [...document.querySelectorAll("input[id], select[id], textarea[id]")];
    const path = named.split(".");
    let box;
    for (; path.length && !box; path.pop()) {
      const name = path.join(".");
      box = boxes.find((one) => one.id === name || one.id.startsWith(`${name}.`));
    }
    for (let fold = box?.closest("details"); fold; fold = fold.parentElement.closest("details")) {
      fold.open = true;
    }
    box?.focus();
    box?.scrollIntoView({ block: "center" });
  }

  // The job at work

  const panel = at("job");
  if (panel) {
    const first = { number: Number(panel.dataset.number), state: panel.dataset.state };
    // What somebody is typing is not to be lost by a page that loads anew.
    let typing = false;
    const typed = "input:not([type=file]):not([data-job]):not([name=pdf]), select, textarea";
    document.addEventListener("input", (event) => { typing ||= event.target.matches(typed); });
    const end = watched((job) => {
      const running = job.state === "running";
      // What came of it changes the page; files on their way would be lost.
      const isNew = job.number !== first.number || first.state === "running";
      if (isNew && !running && job.number && !typing && !leaving && !isBringing()) {
        end();
        location.reload();
        return;
      }
      const elsewhere = panel.dataset.about && panel.dataset.about !== job.title;
      panel.hidden = job.state === "none" || (elsewhere && !running);
      panel.dataset.state = job.state;
      at("job-title").textContent = job.title;
      at("job-stage").textContent = running
        ? job.stage + (job.total ? ` (${job.done} of ${job.total} done)` : "")
        : job.state === "done" && !job.told.length ? "Done." : "";
      const bar = at("job-bar");
      bar.hidden = !running;
      if (job.total) { bar.max = job.total; bar.value = job.done; } else bar.removeAttribute("value");
      at("job-stop").hidden = !running;
      at("job-told").replaceChildren(...job.told.map((text) => {
        const line = document.createElement("li");
        line.textContent = text;
        return line;
      }));
      const open = at("job-open");
      open.hidden = job.state !== "done" || job.address === "" || job.address === "/";
      open.href = job.address || "/";
      for (const button of document.querySelectorAll(".jobs button, .asks .chief")) button.disabled = running;
    }, (isClosed) => {
      if (isClosed || panel.dataset.state === "running") at("job-stage").textContent = SILENT;
    });
  }
})();
