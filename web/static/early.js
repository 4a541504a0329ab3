// Runs before the page is drawn, so that a dusk page never flashes white, and
// before anything that can fail, so that a failure is said.
// A classic script: modules run too late for this.
(function () {
  let chosen = null;
  try {
    chosen = localStorage.getItem("padlark.theme");
  } catch {} // storage is off in this browser
  document.documentElement.dataset.theme = chosen || (matchMedia("(prefers-color-scheme: dark)").matches ? "dusk" : "daylight");
  document.documentElement.classList.add("scripted");

  // An exception is counted, shown and reported. Whatever threw may have left
  // the page half written, so the page says that it cannot be relied on; what
  // else it shows goes on.
  const REPORT_MS = 10000; // reports go out this often at most
  let errors = 0;
  let last = "";
  let reported = -REPORT_MS;
  let waiting = false;

  // The texts come by a script of their own, before any module runs.
  const say = (text, values) => ((window.padlarkTexts || {})[text] || text).replace(/\{([a-z]+)\}/g, (_, name) => values[name]);

  function trouble(err, what) {
    errors++;
    last = [what, err && err.message ? err.message : String(err)].filter(Boolean).join(": ").slice(0, 300);
    document.documentElement.dataset.errors = String(errors);
    if (document.body) show();
    else document.addEventListener("DOMContentLoaded", show, { once: true });
    if (waiting) return;
    waiting = true;
    setTimeout(report, Math.max(0, reported + REPORT_MS - performance.now()));
  }

  function show() {
    let el = document.getElementById("page-trouble");
    if (!el) {
      el = document.createElement("p");
      el.id = "page-trouble";
      el.className = "stopped";
      el.setAttribute("role", "alert");
      const main = document.getElementById("main") || document.body;
      main.insertBefore(el, main.firstChild);
    }
    el.textContent = say("NOT LIVE: this page has failed ({n}, the last: {last}). Load it again; until then do not rely on it.", { n: say(errors === 1 ? "{n} error" : "{n} errors", { n: errors }), last });
  }

  function report() {
    waiting = false;
    reported = performance.now();
    const token = document.querySelector('meta[name="padlark-token"]');
    fetch("/api/v1/trouble", {
      method: "POST", keepalive: true,
      headers: { "Content-Type": "application/json", "X-Padlark-Token": token ? token.content : "" },
      body: JSON.stringify({ page: location.pathname, errors, last }),
    }).catch(() => {}); // the station is away: the page says that already
  }

  window.padlarkTrouble = trouble;
  window.addEventListener("error", (e) => {
    const part = e.target && e.target.tagName;
    if (part === "SCRIPT" || part === "LINK") trouble(e.target.src || e.target.href, "cannot be loaded");
    else if (!part) trouble(e.error || e.message);
  }, true);
  window.addEventListener("unhandledrejection", (e) => {
    const r = e.reason;
    // No answer from the station is no failure of the page, and its age says it.
    if (r && (r.name === "AbortError" || r.name === "TypeError" && /fetch|network|load failed/i.test(r.message))) return;
    trouble(r);
  });
})();
