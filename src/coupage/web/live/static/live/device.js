// What a browser only does on an encrypted page or on the machine itself: keep the screen awake,
// open the sheet without the network. Elsewhere it is said in plain words what to do instead.
let lock = null;

export async function keepAwake(told) {
  if (document.visibilityState !== "visible") return;
  if (!("wakeLock" in navigator)) {
    told.textContent = "Your phone may go dark while you taste: touch it and go on, nothing is lost.";
    return;
  }
  try {
    lock ??= await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => { lock = null; });
    told.textContent = "The screen stays on while this page is open.";
  } catch {
    told.textContent = "Your phone may go dark, as when its battery is low: touch it and go on, nothing is lost.";
  }
}

export async function keepReachable(worker, told) {
  if (!("serviceWorker" in navigator)) {
    told.textContent = "While the network is away, do not reload this page: what you entered is kept on this phone, but the page could not be fetched.";
    return;
  }
  try {
    await navigator.serviceWorker.register(worker, { scope: new URL(".", new URL(worker, location.href)).pathname });
    const ready = await navigator.serviceWorker.ready;
    const files = performance.getEntriesByType("resource").map(({ name }) => name);
    ready.active.postMessage({ keep: [location.href.split("#")[0], ...new Set(files)] });
    told.textContent = "This page opens without the network, too.";
  } catch {
    told.textContent = "While the network is away, do not reload this page; what you entered is kept on this phone.";
  }
}
