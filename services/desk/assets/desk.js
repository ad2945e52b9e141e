// What a page needs beyond links and forms: entries that wait for the network,
// a refresh that spares what is being typed, and bookings that can be dragged.
"use strict";
(() => {
  const person = document.body.dataset.person || "";
  const key = "ramprow:queue:" + person;
  const box = document.getElementById("waiting");
  const newID = () => Array.from(crypto.getRandomValues(new Uint8Array(20)), b => (b % 32).toString(32)).join("");
  const load = () => { try { return JSON.parse(localStorage.getItem(key)) || []; } catch { return []; } };
  const store = queue => localStorage.setItem(key, JSON.stringify(queue));

  // show lists what waits, and what was refused until somebody has read it.
  function show() {
    const queue = load();
    box.hidden = queue.length === 0;
    box.replaceChildren();
    if (!queue.length) return;
    const waiting = queue.filter(e => !e.refused).length;
    const head = document.createElement("strong");
    head.textContent = waiting ? box.dataset.waits.replace("%d", waiting) : box.dataset.refused;
    const list = document.createElement("ol");
    for (const entry of queue) {
      const item = document.createElement("li");
      item.textContent = entry.label + (entry.refused ? " – " + entry.refused : "");
      if (entry.refused) {
        item.className = "refused";
        const seen = document.createElement("button");
        seen.textContent = box.dataset.seen;
        seen.addEventListener("click", () => { store(load().filter(e => e.id !== entry.id)); show(); });
        item.append(" ", seen);
      }
      list.append(item);
    }
    box.append(head, list);
  }

  // send delivers entries one by one in their order. One that got no answer stays
  // and is sent again under the same id, which the service does once.
  let sending = false;
  async function send() {
    if (sending) return;
    sending = true;
    let arrived = 0;
    try {
      for (;;) {
        const entry = load().find(e => !e.refused);
        if (!entry) break;
        const answer = await fetch(entry.url, {
          method: "POST", headers: { "X-Queued": "1", "Content-Type": "application/x-www-form-urlencoded" }, body: entry.body, redirect: "manual",
        });
        note("at", answer.headers.get("X-Revision"));
        if (answer.status === 401) { location.href = "/signin"; break; }
        if (answer.status >= 500 || answer.status === 429) throw new Error("later");
        const text = answer.ok ? "" : await answer.text();
        const queue = load();
        const at = queue.findIndex(e => e.id === entry.id);
        if (at >= 0) { if (answer.ok) queue.splice(at, 1); else queue[at].refused = text; store(queue); }
        arrived++;
        show();
      }
    } catch {
      setTimeout(send, 2000);
    } finally {
      sending = false;
    }
    if (arrived && !load().some(e => !e.refused)) refresh();
  }

  // seen is the newest revision that this page was told of, by the name that it is
  // asked for with: each service counts its own. What the page asks for is no older.
  const seen = { at: Number(new URLSearchParams(location.search).get("at")) || 0 };
  const counted = element => element.closest?.("[sse-connect]")?.dataset.at || "at";
  const note = (name, revision) => { seen[name] = Math.max(seen[name] || 0, Number(revision) || 0); };
  document.addEventListener("htmx:sseBeforeMessage", event => note(counted(event.target), event.detail.data));
  document.addEventListener("htmx:configRequest", event => {
    for (const name in seen) if (seen[name]) event.detail.parameters[name] = String(seen[name]);
  });

  function refresh() {
    const query = new URLSearchParams(location.search);
    query.delete("at");
    query.delete("done");
    if (window.htmx) htmx.ajax("GET", location.pathname + (query.size ? "?" + query : ""), { target: "#main", select: "#main", swap: "outerHTML" }).then(focusEntry, () => {});
  }
  function focusEntry() { document.querySelector("#main [autofocus]")?.focus(); }

  // A form that may wait is put into the queue first and sent from there.
  document.addEventListener("submit", event => {
    const form = event.target;
    if (!form.matches("form[data-queue]")) return;
    event.preventDefault();
    const fields = new FormData(form, event.submitter);
    const id = newID();
    fields.set("request", id);
    if (fields.has("at")) fields.set("at", new Date().toISOString());
    let label = form.dataset.queue;
    if (fields.has("fastener")) label += ` ${fields.get("fastener")}: ${fields.get("torque") || fields.get("angle") || ""}`;
    const queue = load();
    queue.push({ id, url: form.getAttribute("action"), body: new URLSearchParams(fields).toString(), label });
    store(queue);
    show();
    if (form.id === "entry") advance(form);
    else {
      form.dataset.sent = "yes";
      form.querySelectorAll("button").forEach(b => { b.disabled = true; });
    }
    send();
  });

  // advance names the next fastener at once, as it comes if the entry is good; the
  // audit's own answer replaces it.
  function advance(form) {
    const turns = JSON.parse(form.dataset.turns || "[]");
    const done = turns.shift();
    const bolt = n => document.querySelector(`[data-bolt="${n}"]`);
    if (done) bolt(done.fastener)?.setAttribute("class", "bolt done");
    const say = document.getElementById("say");
    form.dataset.turns = JSON.stringify(turns);
    for (const name of ["torque", "angle"]) if (form.elements[name]) form.elements[name].value = "";
    form.elements.moved.checked = false;
    if (!turns.length) {
      form.querySelector("button").disabled = true;
      if (say) say.textContent = "…";
      return;
    }
    form.elements.fastener.value = turns[0].fastener;
    form.elements.stage.value = turns[0].stage;
    bolt(turns[0].fastener)?.setAttribute("class", "bolt next");
    if (say) say.textContent = turns[0].say;
    (form.elements.torque || form.elements.angle)?.focus();
  }

  // What is being typed is not swept away by somebody else's change: the page
  // catches up when the field is left.
  const typing = target => {
    const active = document.activeElement;
    return target.contains(active) && active.matches("input, textarea") && active.value !== active.defaultValue && !active.form?.dataset.sent ? active : null;
  };
  // What was entered or opened and not sent yet is entered and opened again in the page that comes.
  let kept = [];
  const chosen = select => [...select.options].some(o => o.selected !== o.defaultSelected);
  const entered = target => [...target.querySelectorAll("input[id], textarea[id], select[id], details[id]")]
    .filter(e => e.matches("details") ? e.open : !e.form?.dataset.sent && (e.matches("select") ? chosen(e) : e.checked !== e.defaultChecked || e.value !== e.defaultValue))
    .map(e => ({ id: e.id, form: e.form?.getAttribute("action"), open: e.open, checked: e.checked, value: e.value }));
  document.addEventListener("htmx:afterSwap", () => {
    for (const was of kept) {
      const now = document.getElementById(was.id);
      if (!now || now.form?.getAttribute("action") != was.form) continue; // it belongs to something else by now
      if (now.matches("details")) now.open = was.open;
      else if (now.matches("[type=checkbox], [type=radio]")) now.checked = was.checked;
      else now.value = was.value;
    }
    kept = [];
  });
  document.addEventListener("htmx:beforeSwap", event => {
    if (event.detail.xhr.status >= 400) { event.detail.shouldSwap = false; return; }
    if (drag?.moved && event.detail.target.contains(drag.bar)) { event.detail.shouldSwap = false; return; }
    const field = typing(event.detail.target);
    kept = field ? [] : entered(event.detail.target);
    if (!field) return;
    event.detail.shouldSwap = false;
    field.addEventListener("blur", () => setTimeout(() => { if (field.isConnected && !field.form?.matches(":focus-within")) refresh(); }, 300), { once: true });
  });

  // A booking is dragged to a bay and a time. While it rests over a place, the
  // page says what a move there would do; letting go leads to where it is made.
  let drag = null;
  const boardAt = (svg, event) => {
    const point = svg.createSVGPoint();
    point.x = event.clientX; point.y = event.clientY;
    return point.matrixTransform(svg.getScreenCTM().inverse());
  };
  const two = n => String(n).padStart(2, "0");
  // placeOf gives the address of what a move to where the pointer is would do.
  function placeOf(bar, event) {
    const svg = bar.ownerSVGElement, at = boardAt(svg, event);
    const lane = [...svg.querySelectorAll("g[data-bay]")].find(g => { const r = g.querySelector("rect.lane"); return at.y >= +r.getAttribute("y") && at.y <= +r.getAttribute("y") + 58; });
    if (!lane) return "";
    const half = +bar.querySelector("rect.bar").getAttribute("width") / 2;
    const minutes = Math.max(0, Math.round((at.x - 170 - half) / 1000 * 14 * 60 / 15) * 15);
    const start = new Date(svg.dataset.board + "T06:00");
    start.setMinutes(start.getMinutes() + minutes);
    const text = `${start.getFullYear()}-${two(start.getMonth() + 1)}-${two(start.getDate())}T${two(start.getHours())}:${two(start.getMinutes())}`;
    return `/bays/${bar.dataset.job}?bay=${encodeURIComponent(lane.dataset.bay)}&start=${text}`;
  }
  // preview asks what a place would mean; an answer that comes too late is not shown.
  async function preview(asked) {
    const box = document.getElementById("preview");
    const answer = await fetch(asked).catch(() => null);
    if (!answer || !box || drag?.place !== asked) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const told = page.querySelector("#consequences") || page.querySelector(".problem strong");
    box.textContent = told ? [...(told.querySelectorAll("li").length ? told.querySelectorAll("li") : [told])].map(e => e.textContent.trim()).join(" · ") : "";
    box.classList.toggle("bad", !page.querySelector("#consequences"));
    box.hidden = !box.textContent;
  }
  document.addEventListener("pointerdown", event => {
    const bar = event.target.closest("svg[data-board] a[data-job]");
    if (!bar || event.button !== 0) return;
    drag = { bar, x: event.clientX, y: event.clientY, moved: false };
  });
  document.addEventListener("pointermove", event => {
    if (!drag) return;
    const dx = event.clientX - drag.x, dy = event.clientY - drag.y;
    if (!drag.moved && Math.hypot(dx, dy) < 6) return;
    drag.moved = true;
    const scale = 1180 / drag.bar.ownerSVGElement.getBoundingClientRect().width;
    drag.bar.classList.add("dragged");
    drag.bar.setAttribute("transform", `translate(${dx * scale} ${dy * scale})`);
    const place = placeOf(drag.bar, event);
    if (place === drag.place) return;
    drag.place = place;
    clearTimeout(drag.timer);
    if (place) drag.timer = setTimeout(preview, 150, place);
  });
  document.addEventListener("pointerup", event => {
    if (!drag) return;
    const { bar, moved, timer } = drag;
    drag = null;
    clearTimeout(timer);
    if (!moved) return;
    const place = placeOf(bar, event);
    bar.removeAttribute("transform");
    bar.classList.remove("dragged");
    document.getElementById("preview").hidden = true;
    bar.addEventListener("click", e => e.preventDefault(), { once: true });
    if (place) location.href = place;
    else refresh();
  });
  document.addEventListener("dragstart", event => { if (event.target.closest("svg[data-board]")) event.preventDefault(); });

  // A scanner types quickly and ends with Enter: wherever it points, the field that
  // takes scans gets it. Times are those of the keys, not of when a busy page hears of them.
  let typed = "", since = 0;
  document.addEventListener("keydown", event => {
    if (event.target.matches("input, select, textarea")) return;
    if (event.timeStamp - since > 60) typed = "";
    since = event.timeStamp;
    if (event.key === "Enter" && typed.length >= 4) {
      const field = document.querySelector("[data-scan]");
      if (field) { event.preventDefault(); field.value = typed; field.form?.requestSubmit(); }
      typed = "";
    } else if (event.key.length === 1) typed += event.key;
  });
  // A page that has just come focuses its field a moment after it is seen; what was
  // typed in between belongs into the field.
  document.addEventListener("focusin", event => {
    if (typed && event.target.matches("[data-scan]") && performance.now() - since < 300) event.target.value = typed + event.target.value;
    typed = "";
  });
  if (document.activeElement === document.body) document.querySelector("[autofocus]")?.focus();

  document.addEventListener("click", event => { if (event.target.closest("[data-print]")) print(); });

  addEventListener("online", send);
  show();
  send();
})();
