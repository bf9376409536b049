// The start page stays as it was read; when something moved on, it offers to show it.
const body = document.body;
document.getElementById("again").addEventListener("click", () => window.location.reload());

async function look() {
  if (document.hidden) return;
  try {
    const response = await fetch("/news");
    if (!response.ok) return;
    const news = await response.json();
    const moved = String(news.seq) !== body.dataset.seq || news.list !== body.dataset.list;
    document.getElementById("moved").hidden = !moved;
  } catch {
    // lidoff was ended; the page says so when something is to be recorded
  }
}
setInterval(look, 4000);
window.addEventListener("pageshow", (event) => {
  if (event.persisted) window.location.reload();
});
