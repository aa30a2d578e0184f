"use strict";
// A stop that nobody hears: without this the browser puts its own page of errors in its place.

const HEARD_MS = 8000;

async function told(event) {
  const form = event.target, everything = document.querySelector(".everything");
  if (!form.action.endsWith("/stop") || !everything) return;
  event.preventDefault();
  everything.querySelector("p")?.remove();
  try {
    const answer = await fetch(form.action, {
      method: "POST", body: new URLSearchParams(new FormData(form)), redirect: "manual",
      signal: AbortSignal.timeout(HEARD_MS),
    });
    if (answer.type === "opaqueredirect") location.assign("/");
    else form.submit(); // refused: told again, the browser shows why
  } catch {
    const line = document.createElement("p");
    line.setAttribute("role", "alert");
    line.textContent = everything.dataset.unheard;
    everything.prepend(line);
  }
}
document.addEventListener("submit", told);
