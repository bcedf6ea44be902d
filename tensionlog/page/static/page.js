"use strict";
/* The page: follows the bench by server-sent events, draws what it is told, sends keys.
   It decides nothing and keeps nothing: after a reload the server tells all of it again. */
(() => {
  const $ = (id) => document.getElementById(id);
  const el = (name, attributes = {}, ...inside) => {
    const node = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) {
      if (value === null || value === false || value === undefined) continue;
      if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
      else if (key === "value") node.value = value;
      else node.setAttribute(key, value === true ? "" : value);
    }
    node.append(...inside.flat().filter((x) => x !== null && x !== undefined && x !== false));
    return node;
  };
  let words = {}, state = null, view = "", home = null, fields = {}, base = "", from = "";
  let errors = {}, overLimit = false, live = {points: [], target: 0}, painted = "";
  let heard = 0, tab = "jobs", query = "", lostSince = 0, drawn = "";
  const say = (key, values = {}) =>
    (words[key] ?? key).replace(/\{(\w+)\}/g, (all, name) => values[name] ?? all);

  const client = (() => {
    let name = sessionStorage.getItem("client");
    if (!name) {
      name = Array.from(crypto.getRandomValues(new Uint8Array(12)),
        (byte) => byte.toString(16).padStart(2, "0")).join("");
      sessionStorage.setItem("client", name);
    }
    return name;
  })();

  const get = async (path) => (await fetch(path)).json();
  const send = async (command) => {
    try {
      const answer = await fetch("/do", {
        method: "POST",
        headers: {"content-type": "application/json", "x-tensionlog": "1"},
        body: JSON.stringify({client, ...command}),
      });
      const body = await answer.json().catch(() => ({}));
      if (!body.ok && body.text) toast(body.text);
      if (body.ok) {
        delete $("alarm").dataset.toast;
        Sound.play("step");
        strip();
      }
      return body;
    } catch {
      toast(say("line.lost"));
      return {ok: false};
    }
  };
  let toastTimer = 0;
  const toast = (text) => {
    $("alarm").replaceChildren(text);
    $("alarm").dataset.toast = "1";
    clearTimeout(toastTimer);
    toastTimer = setTimeout(() => { delete $("alarm").dataset.toast; strip(); }, 4000);
  };
  const drives = () => state !== null && state.driver === client;
  const show = (name) => { view = name; painted = ""; paint(); };

  /* -- the strip above: what job, how safe, who drives ------------------------------- */
  const strip = () => {
    if (state === null) return;
    document.body.classList.toggle("follow", !drives());
    document.body.classList.toggle("paused", Boolean(state.paused));
    const recording = Boolean(state.recording);
    $("strip").replaceChildren(
      el("span", {class: "title"}, state.title || say("stage.home"),
        state.ordered ? ` · ${state.ordered}` : ""),
      el("span", {class: state.unsafe ? "sign warn" : "sign"}, !recording ? `○ ${say("not-recording")}` :
        `● ${say(state.unsafe ? "not-safe" : "safe")}`),
      el("span", {class: drives() ? "sign" : "sign warn"}, say(drives() ? "drives" : "follows")),
      el("button", {type: "button", class: Sound.heard ? "sign" : "sign warn", onclick: sound},
        `M ${say(Sound.heard ? "sound.on" : Sound.on ? "sound.wait" : "sound.off")}`),
    );
    if ($("alarm").dataset.toast) return;
    const alarms = [];
    if (lostSince && Date.now() - lostSince > 1500) alarms.push(say("line.lost"));
    else alarms.push(...state.alarms);
    $("alarm").replaceChildren(...alarms.map((text) => el("div", {}, text)));
  };

  /* -- keys -------------------------------------------------------------------------- */
  const CAP = {Enter: "⏎", Escape: "esc"};
  const button = (key, label, act, kind = "") =>
    el("button", {type: "button", class: `button ${kind}`, onclick: act},
      key ? el("kbd", {}, CAP[key] || key.toUpperCase()) : null, el("span", {}, label));
  let keymap = {};
  const keys = (list) => {
    keymap = {};
    list.forEach(([key, , act]) => { keymap[key.toLowerCase()] = act; });
    const shown = list.filter(([, label]) => label);
    $("keys").replaceChildren(...shown.map(([key, label, act, kind]) =>
      el("button", {type: "button", class: `key ${kind || ""}`, onclick: act},
        el("kbd", {}, CAP[key[0].toUpperCase() + key.slice(1)] || key.toUpperCase()), el("span", {}, label))));
  };
  const sound = () => { Sound.toggle(); strip(); };
  const always = () => [
    ["m", "", sound],
    ["d", drives() ? "" : say("key.drive"), () => send({do: "drive"}), "always"],
  ];
  document.addEventListener("keydown", (event) => {
    Sound.ready();
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    const typing = /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName);
    const foot = state && (event.key === state.foot || event.key === "PageDown");
    let key = foot ? "foot" : event.key === " " ? "enter" : event.key.toLowerCase();
    if (typing && !["enter", "escape", "foot"].includes(key)) return;
    if (typing && event.key === " ") return;
    if (key === "enter" && event.target.tagName === "BUTTON" && event.key !== "Enter") return;
    const act = keymap[key];
    if (!act) return;
    event.preventDefault();
    act();
  });
  document.addEventListener("pointerdown", () => { Sound.ready(); setTimeout(strip, 50); });

  /* -- during ------------------------------------------------------------------------ */
  const bench = () => el("section", {class: "bench"},
    el("div", {class: "number"},
      el("div", {class: "now none", id: "now"}, "–"),
      el("div", {class: "line", id: "line"})),
    el("div", {class: "verdict wait", id: "verdict", role: "status"}),
    el("div", {class: "bedbox"}, el("div", {id: "bed"}), el("div", {class: "count", id: "count"})),
    el("canvas", {class: "trace", id: "trace", role: "img", "aria-label": say("trace.label")}));

  const during = () => {
    if (painted !== "bench") {
      $("main").replaceChildren(bench());
      painted = "bench";
      drawn = "";
      number();
    }
    const next = state.next;
    $("line").replaceChildren(...(state.paused ? [el("b", {}, say("paused"))] : next ? [
      el("span", {}, say(next.loaded ? "now" : "next"), " ", el("b", {class: "string"}, next.position)),
      el("span", {}, say("target"), " ", el("b", {}, next.target)),
      next.dial ? el("span", {}, say("dial"), " ", el("b", {}, next.dial)) : null,
      next.opens ? el("span", {}, say("opens", {clamp: next.opens})) : null,
      next.shuts ? el("span", {}, say("shuts", {clamp: next.shuts})) : null,
    ].filter(Boolean) : [el("b", {}, say("all-pulled"))]));
    live.target = next ? next.target_bare : 0;
    verdict();
    const bed = JSON.stringify([state.bed, next && next.position, state.counts]);
    if (state.bed && bed !== drawn) {
      drawn = bed;
      const svg = Draw.bed(state.bed, next ? next.position : "",
        (position) => send({do: "place", position}));
      svg.setAttribute("aria-label", say("bed.label"));
      $("bed").replaceChildren(svg);
      const c = state.counts;
      const count = (name, n, of) => el("span", {}, say(name), el("b", {}, String(n)), say("of", {n: of}));
      $("count").replaceChildren(count("left", c.left, c.left_of),
        count("right", c.right, c.right_of), count("crosses", c.crosses, c.crosses_of));
    }
    trace();
    keys([
      ["r", say("key.redo"), () => send({do: "redo"})],
      ["foot", "", () => send({do: "redo"})],
      ["u", say("key.undo"), () => send({do: "undo"})],
      ["s", say("key.skip"), () => send({do: "skip"})],
      ["c", say("key.clamp"), () => send({do: "clamp"})],
      ["p", say(state.paused ? "key.go-on" : "key.pause"), () => send({do: "pause"})],
      ["n", say("key.note"), () => show("note")],
      ["l", say("key.lift-off"), () => send({do: "lift-off"})],
      ["b", say("key.broke"), () => send({do: "broke"})],
      ["x", say("key.give-up"), () => show("give-up")],
      ["enter", "", () => { if (state.paused) send({do: "confirm"}); }],
      ...always(),
    ]);
  };

  let told = "";
  const verdict = () => {
    const v = state.verdict, box = $("verdict");
    if (!box) return;
    const key = JSON.stringify(v);
    if (box.dataset.key === key) return;
    box.dataset.key = key;
    box.className = `verdict ${v ? v.tone : "wait"} ${box.closest(".ask") ? "small" : ""}`;
    box.replaceChildren(
      Draw.mark(v ? v.tone : "good"),
      el("div", {class: "word"}, el("span", {id: "word"}, v ? v.word : say("word.wait")),
        v && v.number ? el("span", {}, v.number) : null),
      ...(v && v.text ? [el("div", {class: "text"}, v.text)] : []),
      ...(v && v.do ? [el("div", {class: "do"}, v.do)] : []));
    if (!v) return;
    box.dataset.pull = v.pull;
    if (v.seen_at) {
      box.dataset.seen = v.seen_at;
      box.dataset.shown = (performance.timeOrigin + performance.now()) / 1000;
    }
    const sounded = `${v.pull}${v.tone}`;
    if (sounded !== told && (v.final || v.tone === "bad")) {
      const first = told === "" && heard < 2;
      told = sounded;
      if (!first) Sound.play(v.tone);
      $("said").textContent = `${v.word} ${v.number} ${v.text}`;
    }
  };

  const number = () => {
    const box = $("now");
    if (!box) return;
    const f = live.force;
    box.classList.toggle("none", f === null || f === undefined);
    const decimals = state.unit === "counts" ? 0 : 1;
    const text = f === null || f === undefined ? "–" :
      (Math.abs(f) < 0.15 ? 0 : f).toFixed(decimals).replace("-", "−");
    if (box.firstChild && box.dataset.text === text) return;
    box.dataset.text = text;
    box.replaceChildren(text, el("small", {}, state.unit));
  };
  const trace = () => { if ($("trace")) Draw.trace($("trace"), live, state.trace, words); };

  /* -- before and after ---------------------------------------------------------------- */
  const ask = () => {
    const step = state.step;
    const key = `ask${JSON.stringify([step, state.done_steps, drives()])}`;
    if (painted === key) { verdict(); return; }
    painted = key;
    const answer = (choice) => send({do: "answer", item: step.item, answer: choice.answer, ...sizes()});
    const dots = Array.from({length: step.of}, (_, i) =>
      el("i", {class: i + 1 < step.number ? "done" : i + 1 === step.number ? "here" : ""}));
    $("main").replaceChildren(el("section", {class: "ask"},
      state.verdict ? el("div", {class: "verdict small", id: "verdict", role: "status"}) : null,
      step.of > 1 ? el("div", {class: "dots", "aria-label": `${step.number} / ${step.of}`}, ...dots,
        el("span", {class: "soft"}, `${step.number} / ${step.of}`)) : null,
      el("h1", {}, step.title),
      el("p", {class: "how"}, step.how),
      step.measures ? el("div", {class: "sizes"}, ...["long", "wide"].map((name, i) =>
        el("label", {}, say(`size.${name}`), el("input", {id: `size-${name}`, inputmode: "decimal",
          autocomplete: "off", value: step.size[i]})))) : null,
      el("div", {class: "choices needs-drive"}, ...step.choices.map((choice, i) =>
        button(choice.key, choice.label, () => answer(choice),
          `big ${i === 0 ? "main" : ""} ${choice.tone === "bad" ? "grave" : ""}`))),
      state.head_change ? el("p", {class: "caution"}, state.head_change.text) : null,
      el("div", {class: "answers"}, ...state.done_steps.map((done) =>
        el("span", {class: done.skipped ? "skipped" : ""}, `${done.title}: ${done.answer}`)))));
    keys([
      ...step.choices.map((choice) => [choice.key, "", () => answer(choice)]),
      ["foot", "", () => answer(step.choices[0])],
      ["u", say("key.undo"), () => send({do: "undo"})],
      ["n", say("key.note"), () => show("note")],
      ["g", say("key.give-up"), () => show("give-up")],
      ...always(),
    ]);
    verdict();
  };
  const sizes = () => $("size-long") ?
    {long_mm: $("size-long").value, wide_mm: $("size-wide").value} : {};

  const refused = () => {
    if (painted === "refused") return;
    painted = "refused";
    $("main").replaceChildren(el("section", {class: "ask"},
      Draw.mark("bad"), el("h1", {}, say("refused.title")),
      el("p", {class: "how caution"}, say("refused.how")),
      el("div", {class: "row"}, button("Enter", say("refused.end"), () => send({do: "confirm"}), "big main")),
      el("label", {}, say("refused.by"), el("input", {id: "by", maxlength: 120})),
      el("div", {class: "row"}, button("", say("refused.go"),
        () => send({do: "vouch", by: $("by").value}), "grave"))));
    keys([["enter", "", () => send({do: $("by").value ? "vouch" : "confirm", by: $("by").value})],
      ["u", say("key.undo"), () => send({do: "undo"})], ...always()]);
  };

  const slip = async () => {
    const key = `slip${JSON.stringify([state.job, state.head_change])}`;
    if (painted === key) return;
    painted = key;
    const open = (path) => () => window.open(path, "_blank");
    const print = () => {
      const frame = document.querySelector("iframe");
      if (frame) frame.contentWindow.print();
    };
    const done = () => send({do: "finish"});
    $("main").replaceChildren(el("section", {class: "paper"},
      el("div", {class: "acts"},
        el("h1", {}, say("slip.title")), el("p", {}, say("slip.how")),
        state.head_change ? el("p", {class: state.head_change.tone === "bad" ? "caution" : ""},
          state.head_change.text) : null,
        button("Enter", say("slip.hand-over"), done, "big main"),
        button("i", say("slip.print"), print),
        button("f", say("slip.pdf"), open(`/job/${state.job}/slip.pdf`)),
        button("o", say("slip.report"), open(`/job/${state.job}/report`))),
      el("div", {}, state.job ? el("iframe", {title: say("slip.title"), src: `/job/${state.job}/slip`}) :
        el("p", {}, say("slip.wait")))));
    keys([["enter", "", done], ["foot", "", done], ["i", "", print],
      ["f", "", open(`/job/${state.job}/slip.pdf`)], ["o", "", open(`/job/${state.job}/report`)],
      ["n", say("key.note"), () => show("note")], ...always()]);
  };

  /* -- a guided test ---------------------------------------------------------------------- */
  let news = -1;
  const guide = () => {
    const g = state.guide;
    const key = `guide${g.number}${g.asks_number}`;
    if (painted !== key) {
      painted = key;
      $("main").replaceChildren(el("section", {class: "guide"},
        el("div", {class: "dots"}, el("span", {class: "soft"}, `${g.title}  ${g.number} / ${g.of}`)),
        el("h1", {class: "glance", id: "g-word"}), el("p", {class: "how", id: "g-sentence"}),
        el("div", {class: "now", id: "g-reading"}), el("div", {class: "bar"}, el("i", {id: "g-share"})),
        el("p", {id: "g-state", class: "soft"}),
        g.asks_number ? el("label", {}, say("guide.number"), el("input", {id: "g-number", inputmode: "decimal"})) : null,
        el("p", {id: "g-refused", class: "error"}), el("p", {id: "g-caution", class: "caution"}),
        el("div", {id: "g-took", class: "answers"})));
      const next = () => ($("g-number") && $("g-number").value ?
        send({do: "number", number: $("g-number").value}) : send({do: "next"}));
      keys([["enter", say("key.next"), next], ["foot", "", next],
        ["a", say("key.again"), () => send({do: "again"})],
        ["s", say("key.skip"), () => send({do: "skip"})],
        ["q", say("key.stop"), () => send({do: "stop"})], ...always()]);
    }
    $("g-word").textContent = g.word;
    $("g-sentence").textContent = g.sentence;
    $("g-reading").textContent = g.reading || "–";
    $("g-state").textContent = g.state;
    $("g-share").style.width = `${Math.round(100 * g.share)}%`;
    $("g-refused").textContent = g.refused;
    $("g-refused").hidden = !g.refused;
    $("g-caution").textContent = g.caution;
    $("g-caution").hidden = !g.caution;
    $("g-took").replaceChildren(...g.took.map((text) => el("span", {}, text)));
    if (g.news !== news) {
      if (news >= 0) Sound.tones(g.tones);
      news = g.news;
      $("said").textContent = g.refused || g.sentence;
    }
  };
  let dismissed = sessionStorage.getItem("dismissed") || "";
  const found = () => {
    const r = state.result;
    if (painted === r.name) return;
    painted = r.name;
    const tone = TONE[r.verdict] || "look";
    const done = () => {
      dismissed = r.name;
      sessionStorage.setItem("dismissed", dismissed);
      show("");
    };
    $("main").replaceChildren(el("section", {class: "ask"},
      el("div", {class: `check ${tone}`}, Draw.mark(tone),
        el("div", {}, el("div", {}, r.title), el("div", {class: "word"}, r.word))),
      el("div", {}, ...r.lines.map((line) => el("p", {}, line))),
      el("div", {class: "row"}, button("Enter", say("guide.done"), done, "big main"))));
    keys([["enter", "", done], ["foot", "", done], ["escape", "", done], ...always()]);
  };
  const part = () => {
    if (painted === "check") return;
    painted = "check";
    const begin = (more) => () => { send({do: "check", ...more}); show(""); };
    const parts = [["Enter", "check.due", {}], ["1", "check.daily", {part: "daily"}],
      ["2", "check.weekly", {part: "weekly"}]];
    $("main").replaceChildren(el("section", {class: "ask"}, el("h1", {}, say("guide.check")),
      el("p", {class: "how"}, say("check.how")), el("p", {class: "caution"}, say("caution.mass")),
      el("div", {class: "choices needs-drive"}, ...parts.map(([key, label, more], i) =>
        button(key, say(label), begin(more), i === 0 ? "big main" : "big")))));
    keys([...parts.map(([key, , more]) => [key, "", begin(more)]), ["foot", "", begin({})],
      ["escape", say("key.back"), () => show("")], ...always()]);
  };
  const which = async () => {
    if (painted === "hold") return;
    painted = "hold";
    const list = await get("/clamps.json");
    if (painted !== "hold") return;
    const test = (name) => () => { send({do: "hold", clamp: name}); show(""); };
    $("main").replaceChildren(el("section", {class: "ask"}, el("h1", {}, say("hold.title")),
      el("p", {class: "how"}, say("hold.how")), el("p", {class: "caution"}, say("caution.string")),
      el("div", {class: "choices needs-drive"}, ...list.names.map((name) => button(name, "", test(name), "big")))));
    keys([...list.names.map((name) => [name, "", test(name)]),
      ["escape", say("key.back"), () => show("")], ...always()]);
  };

  /* -- home, ticket, history ------------------------------------------------------------ */
  const TONE = {good: "good", adjust: "look", watch: "look", old: "look", none: "look",
    unfinished: "look", stop: "bad", service: "bad"};
  const atHome = async () => {
    if (painted === "home") return;
    painted = "home";
    home = await get("/home.json");
    if (painted !== "home") return;
    const check = home.check, tone = TONE[check.verdict] || "look";
    const note = check.verdict === "none" ? say("check.none.text") :
      say(check.old ? "check.old" : "check.age", {age: check.age});
    const acts = [
      ["j", say("key.new"), () => newJob("")],
      ["k", say("key.check"), () => show("check")],
      ["t", say("key.hold"), () => show("hold")],
      ["h", say("key.history"), () => show("history")],
    ];
    $("main").replaceChildren(el("section", {class: "home"},
      el("div", {class: "acts"},
        el("div", {class: `check ${tone}`}, Draw.mark(tone),
          el("div", {}, el("div", {}, say("home.check")), el("div", {class: "word"}, check.word),
            el("div", {}, note))),
        check.verdict === "stop" || check.verdict === "adjust" ?
          el("p", {class: "caution"}, say(`check.${check.verdict}.text`)) : null,
        ...home.alerts.map((alert) => el("div", {class: "caution"},
          el("p", {}, el("b", {}, alert.text)), el("p", {}, alert.do))),
        ...acts.map(([key, label, act], i) => button(key, label, act, i === 0 ? "main big" : "")),
        home.clamps.length ? el("p", {}, ...home.clamps.map((one) =>
          el("span", {}, `${say("home.clamp", {clamp: one.clamp})} `, el("b", {}, one.word), "   "))) : null,
        el("div", {class: "small-now", id: "now"}, "–"),
        el("p", {class: "caution"}, say("home.caution"))),
      el("div", {}, el("h2", {}, say("home.latest")), jobList(home.jobs, say("home.none")))));
    number();
    keys([...acts.map(([key, , act]) => [key, "", act]), ["enter", "", () => newJob("")], ...always()]);
  };

  const jobList = (jobs, none) => jobs.length ? el("ul", {class: "list"}, ...jobs.map((job) =>
    el("li", {},
      el("div", {}, el("span", {class: "who"}, job.owner || job.ref), ` ${job.frame}`,
        el("div", {class: "soft"}, [job.on, job.string, job.ordered].filter(Boolean).join(" · "))),
      el("div", {class: "row"},
        button("", say("history.again"), () => newJob(job.name)),
        el("a", {class: "button", href: `/job/${job.name}/report`, target: "_blank"}, say("history.report")),
        el("a", {class: "button", href: `/job/${job.name}/slip`, target: "_blank"}, say("history.slip")))))) :
    el("p", {class: "soft"}, none);

  const newJob = async (name) => {
    const start = await get(`/fields.json?sport=badminton&job=${encodeURIComponent(name)}`);
    fields = {sport: "badminton", order: "alternate", ...start.fields};
    base = start.base;
    from = start.on;
    errors = {};
    overLimit = false;
    show("ticket");
  };
  const FIELDS = ["owner", "frame", "string", "gauge_mm", "tension", "limit", "dial", "sport", "mains",
    "crosses", "order", "head_long_mm", "head_wide_mm", "reel", "operator", "ref"];
  const FEW = {sport: ["badminton", "tennis", "squash"], order: ["alternate", "left-then-right"]};
  const NUMERIC = ["gauge_mm", "mains", "crosses", "limit", "head_long_mm", "head_wide_mm"];

  const field = (name) => {
    const change = (event) => { fields[name] = event.target.value; };
    const common = {id: `f-${name}`, name, onchange: change, oninput: change, maxlength: 160,
      "aria-describedby": errors[name] ? `e-${name}` : null, "aria-invalid": errors[name] ? "true" : null};
    const input = FEW[name] ? el("select", {...common},
      ...FEW[name].map((option) => el("option", {value: option, selected: fields[name] === option},
        say(`${name}.${option}`)))) :
      el("input", {...common, autocomplete: "off", value: fields[name] || "",
        inputmode: NUMERIC.includes(name) ? "decimal" : "text"});
    if (name === "tension" || name === "limit") input.addEventListener("change", advise);
    if (name === "owner" || name === "frame") input.addEventListener("change", startFrom);
    if (name === "sport") input.addEventListener("change", typical);
    return el("label", {class: `${errors[name] ? "wrong" : ""} ${["owner", "frame"].includes(name) ? "wide" : ""}`},
      say(`field.${name}`, {unit: words.unit || state.unit}), input,
      errors[name] ? el("span", {class: "error", id: `e-${name}`}, errors[name]) : null);
  };
  const startFrom = async () => {
    if (!fields.owner || base) return;
    const ask = new URLSearchParams({owner: fields.owner, frame: fields.frame || "", sport: ""});
    const start = await get(`/fields.json?${ask}`);
    if (!start.base || view !== "ticket") return;
    const typed = Object.fromEntries(Object.entries(fields).filter(([name, text]) =>
      text && ["owner", "frame", "tension", "string"].includes(name)));
    fields = {...start.fields, ...typed};
    base = start.base;
    from = start.on;
    const focused = document.activeElement && document.activeElement.id;
    show("ticket");
    if (focused && $(focused)) $(focused).focus();
  };
  const advise = async () => {
    const asked = new URLSearchParams({tension: fields.tension || "", limit: fields.limit || "", job: base});
    const advice = await get(`/dial.json?${asked}`);
    const box = $("advice");
    if (!box) return;
    const take = () => { fields.dial = advice.dial; $("f-dial").value = advice.dial; };
    box.replaceChildren(...advice.lines.map((line) => el("p", {}, line)),
      advice.dial ? button("", `${say("ticket.dial")}: ${advice.dial}`, take) : "");
  };
  const typical = async () => {
    const start = await get(`/fields.json?sport=${encodeURIComponent(fields.sport)}`);
    fields = {...fields, ...start.fields};
    show("ticket");
  };
  const ticket = () => {
    if (painted === "ticket") return;
    painted = "ticket";
    const begin = async (event) => {
      if (event) event.preventDefault();
      const body = await send({do: "ticket", fields, base});
      if (body.ok) { show(""); return; }
      errors = body.errors || {};
      overLimit = overLimit || Boolean(body.over_limit);
      show("ticket");
      const first = FIELDS.find((name) => errors[name]);
      if (overLimit && $("f-limit_by")) $("f-limit_by").focus();
      else if (first) $(`f-${first}`).focus();
    };
    $("main").replaceChildren(el("form", {class: "ticket", novalidate: true, onsubmit: begin},
      el("div", {class: "row"}, el("h1", {}, say("ticket.title")),
        from ? el("span", {class: "soft"}, say("ticket.from", {on: from})) : null),
      el("div", {class: "fields"}, ...FIELDS.map(field)),
      el("div", {id: "advice", class: "row", role: "status"}),
      overLimit ? field("limit_by") : null,
      el("div", {class: "row"},
        el("button", {class: "button main big needs-drive", type: "submit"},
          el("kbd", {}, "⏎"), el("span", {}, say("ticket.start"))),
        button("Escape", say("ticket.cancel"), () => show("")))));
    keys([["escape", "", () => show("")], ["enter", "", () => begin()], ...always()]);
    if (!document.activeElement || document.activeElement === document.body) $("f-owner").focus();
    advise();
  };

  const history = async () => {
    if (painted === "history") return;
    painted = "history";
    const tabs = ["jobs", "clamps", "cell"].map((name, i) =>
      button(String(i + 1), say(`history.${name}`), () => { tab = name; show("history"); },
        tab === name ? "main" : ""));
    const list = el("div", {id: "list"});
    const search = el("input", {id: "q", type: "search", value: query, placeholder: say("history.search"),
      "aria-label": say("history.search"), autocomplete: "off", maxlength: 80});
    search.addEventListener("input", () => { query = search.value; fill(list); });
    $("main").replaceChildren(el("section", {class: "history"},
      el("div", {class: "row"}, el("h1", {}, say("history.title")), ...tabs),
      tab === "jobs" ? search : null, list));
    keys([["escape", say("key.home"), () => show("")],
      ...["jobs", "clamps", "cell"].map((name, i) => [String(i + 1), "", () => { tab = name; show("history"); }]),
      ...always()]);
    await fill(list);
  };
  let asked = 0;
  const fill = async (list) => {
    const mine = ++asked;
    if (tab === "jobs") {
      const body = await get(`/history.json?q=${encodeURIComponent(query)}`);
      if (mine === asked) {
        list.replaceChildren(el("p", {class: "soft"}, say("history.count", {n: body.count})),
          jobList(body.jobs, say("history.nothing")));
      }
      return;
    }
    const body = await get(`/${tab}.json`);
    const rows = body.tests.map((test) => el("li", {},
      el("div", {}, el("span", {class: "who"}, [test.clamp, test.on].filter(Boolean).join(" · ")),
        el("div", {class: "soft"}, test.text)), el("b", {}, test.word)));
    const served = (body.services || []).map((one) => el("li", {},
      el("span", {class: "who"}, `${one.clamp} · ${one.on}`), say("clamps.service", {what: one.what})));
    if (mine !== asked) return;
    list.replaceChildren(rows.length ? el("ul", {class: "list"}, ...rows) :
      el("p", {class: "soft"}, say(`${tab}.none`)), served.length ? el("ul", {class: "list"}, ...served) : "",
      ...(body.page ? [el("a", {class: "button", href: body.page, target: "_blank"}, say("history.alone")),
        el("iframe", {class: "whole", title: say(`history.${tab}`), src: body.page})] : []));
  };

  const typed = (name, field, command) => {
    if (painted === name) return;
    painted = name;
    const go = () => { send({do: command, [field]: $("typed").value}); show(""); };
    $("main").replaceChildren(el("section", {class: "ask"}, el("h1", {}, say(`${name}.title`)),
      words[`${name}.how`] ? el("p", {class: "how"}, say(`${name}.how`)) : null,
      el("input", {id: "typed", maxlength: 400, "aria-label": say(`${name}.title`)}),
      el("div", {class: "row"}, button("Enter", say(name === "note" ? "note.write" : "give-up.yes"), go, "big main"),
        button("Escape", say("key.back"), () => show("")))));
    keys([["enter", "", go], ["escape", "", () => show("")]]);
    $("typed").focus();
  };

  /* -- what is shown ---------------------------------------------------------------------- */
  const paint = () => {
    if (state === null) return;
    strip();
    const atWork = ["strings", "before", "after"].includes(state.stage);
    if (view === "note") return typed("note", "text", "remark");
    if (view === "give-up" && state.stage !== "home") return typed("give-up", "why", "give-up");
    if (view === "give-up") view = "";
    if (atWork && (view === "ticket" || view === "history")) view = "";
    if (view === "ticket") return ticket();
    if (view === "history") return history();
    if (state.stage === "guide") return guide();
    if (state.stage === "home" && view === "hold") return which();
    if (state.stage === "home" && view === "check") return part();
    if (view === "hold" || view === "check") view = "";
    if (state.stage === "home" && state.result && state.result.name !== dismissed) return found();
    if (state.stage === "home") return atHome();
    if (state.stage === "refused") return refused();
    if (state.stage === "slip") return slip();
    if (state.step) return ask();
    return during();
  };

  /* -- the line to the server --------------------------------------------------------------- */
  let source = null;
  const connect = () => {
    if (source) source.close();
    source = new EventSource(`/events?client=${client}`);
    source.addEventListener("open", () => { lostSince = 0; strip(); });
    source.addEventListener("error", () => {
      lostSince = lostSince || Date.now();
      setTimeout(strip, 1600);
      if (source.readyState === EventSource.CLOSED) setTimeout(connect, 1000);
    });
    source.addEventListener("full", () => toast(say("line.full")));
    source.addEventListener("state", (event) => {
      state = JSON.parse(event.data);
      heard += 1;
      lostSince = 0;
      paint();
    });
    source.addEventListener("now", (event) => {
      const now = JSON.parse(event.data);
      live.force = now.f;
      if (now.l && now.p) {
        if (!live.loaded) live.points = [];
        live.points.push(...now.p);
        if (live.points.length > 1500) live.points = live.points.filter((_, i) => i % 2);
      }
      if (live.loaded && !now.l) live.points = [];
      live.loaded = now.l;
      document.documentElement.dataset.numbers = 1 + Number(document.documentElement.dataset.numbers || 0);
      number();
      if (now.l) trace();
    });
  };
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && source && source.readyState !== EventSource.OPEN) connect();
  });
  let screen = null;
  const stayAwake = async () => {
    try { screen = await navigator.wakeLock.request("screen"); } catch { screen = null; }
  };
  document.addEventListener("visibilitychange", () => { if (!document.hidden) stayAwake(); });
  window.addEventListener("resize", trace);

  get("/words.json").then((all) => {
    words = all;
    document.documentElement.lang = words["language"] || "en";
    connect();
    stayAwake();
  });
})();
