// Runs before the page is drawn, so that a dusk page never flashes white.
// A classic script: modules run too late for this.
(function () {
  try {
    document.documentElement.dataset.theme = localStorage.getItem("padlark.theme") || "daylight";
  } catch {
    document.documentElement.dataset.theme = "daylight"; // storage is off in this browser
  }
  document.documentElement.classList.add("scripted");
})();
