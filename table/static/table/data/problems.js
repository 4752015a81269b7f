// What the server refused, for a list from which a person takes it.

/** @typedef {import("./events.js").State} State */
/** @typedef {{type: string, id: string, field: string, code: string, detail: string, lost?: any[]}} ShownProblem */

/** @param {State} state @returns {{shown: ShownProblem, event: import("./events.js").Event}[]} with the event that dismisses each */
export function problemsOf(state) {
  const changes = [...state.refused.values()].map(({ number, change, problems }) => ({
    shown: shownProblem(change.type, change.id, problems),
    event: { event: "put_away", number },
  }));
  const photos = [...state.photos.values()].filter(({ problems }) => problems.length).map(({ announced, problems }) => ({
    shown: shownProblem("photo", announced.id, problems),
    event: { event: "photo_done", id: announced.id, problems: null },
  }));
  return [...changes, ...photos];
}

/** @param {string} type @param {string} id @param {import("./events.js").Problem[]} problems @returns {ShownProblem} */
function shownProblem(type, id, problems) {
  const [{ field, code }] = problems;
  return { type, id, field, code, detail: problems.map((one) => (one.field ? `${one.field}: ${one.detail}` : one.detail)).join("; ") };
}
