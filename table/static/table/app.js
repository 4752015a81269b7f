// The app: opens the store, then draws the screen of the address whenever anything that it shows has changed.
import { watchTimers } from "./parts/alarm.js";
import { effect, html, render } from "./parts/html.js";
import { _, useLanguage } from "./parts/i18n.js";
import { watchInstall } from "./parts/install.js";
import { route } from "./parts/route.js";
import { local, open, store } from "./parts/store.js";
import { watchTrouble } from "./parts/trouble.js";
import { FlightScreen } from "./screens/flight.js";
import { LotScreen } from "./screens/lot.js";
import { LotsScreen } from "./screens/lots.js";
import { PotsScreen } from "./screens/pots.js";
import { SampleScreen } from "./screens/sample.js";
import { SettingsScreen } from "./screens/settings.js";
import { TastingScreen } from "./screens/tasting.js";
import { TodayScreen } from "./screens/today.js";
import { WelcomeScreen } from "./screens/welcome.js";

function Screen() {
  if (!store.account.value || store.offeredCode.value) return html`<${WelcomeScreen} />`;
  const [name, first, second, third] = route.value;
  if (name === "lots") return html`<${LotsScreen} />`;
  if (name === "lot") return html`<${LotScreen} id=${first} />`;
  if (name === "sample") return html`<${SampleScreen} />`;
  if (name === "pot") return html`<${PotsScreen} id=${second} purpose=${third} />`;
  if (name === "flight") return html`<${FlightScreen} id=${first} />`;
  if (name === "tasting") return html`<${TastingScreen} key=${first} id=${first} step=${second} infusion=${third} />`;
  if (name === "settings") return html`<${SettingsScreen} />`;
  return html`<${TodayScreen} />`;
}

/** A new screen begins at its heading, for eyes and for screen readers. */
function startAtHeading() {
  scrollTo(0, 0);
  if (document.activeElement?.matches("input:not([type=range]), textarea")) return;
  document.querySelector("h1")?.focus({ preventScroll: true });
}

/** The browser gives no storage: say so instead of showing nothing. */
async function showNoStorage(root) {
  await useLanguage(navigator.language.slice(0, 2));
  render(html`<main id="content"><h1>${_("This browser stores nothing for the app")}</h1>
    <p>${_("So no tasting can be kept here. Open the app outside a private window, or make room on the phone; what was kept before is not lost by this.")}</p></main>`, root);
}

async function start() {
  const root = document.getElementById("app");
  watchInstall();
  watchTrouble();
  try {
    await open();
  } catch (error) {
    await showNoStorage(root);
    throw error;
  }
  await useLanguage(local("language", null) ?? store.account.value?.language ?? navigator.language.slice(0, 2));
  watchTimers();
  effect(() => {
    document.documentElement.dataset.theme = local("theme", "auto");
  });
  effect(() => render(html`<${Screen} />`, root));
  effect(() => {
    route.value;
    startAtHeading();
  });
}

start();
