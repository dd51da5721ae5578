// Looks every second what the machines say, and says when it has lost touch.
const STALE = 3000; // ms by a clock that nobody sets
const lost = document.getElementById("lost");
let heard = performance.now();

async function look() {
  try {
    const answer = await fetch(location.href, { signal: AbortSignal.timeout(2000) });
    if (!answer.ok) throw new Error(answer.statusText);
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    const main = document.getElementById("main");
    main.replaceChildren(...fresh.getElementById("main").childNodes);
    document.title = fresh.title;
    heard = performance.now();
  } catch {
    // That nothing comes is shown below.
  }
  setTimeout(look, 1000);
}

setInterval(() => { lost.hidden = performance.now() - heard < STALE; }, 500);
look();
