// Compiled by test_clients.py against the types that are generated from the OpenAPI document.
import type { components, paths } from "./schema";

type Sent = components["schemas"]["SentChangeRequest"];
type Pulled = components["schemas"]["PulledChange"];
type Answer = paths["/api/v1/sync"]["post"]["responses"]["200"]["content"]["application/json"];

export const pour: Sent = {
  type: "infusion",
  id: "0198c0de-0000-7000-8000-000000000003",
  at: "2026-03-04T10:11:12Z",
  fields: { session: "0198c0de-0000-7000-8000-000000000002", number: 1, steep_s: 20 },
};

export const removal: Sent = {
  type: "note",
  id: "0198c0de-0000-7000-8000-000000000004",
  at: "2026-03-04T10:12:00Z",
  deleted: true,
};

// @ts-expect-error a text is no number of seconds
export const badValue: Sent = { ...pour, type: "infusion", fields: { steep_s: "twenty" } };

// @ts-expect-error a note has no steeping time
export const badField: Sent = { ...removal, type: "note", fields: { steep_s: 20 } };

// @ts-expect-error there are no records of this type
export const badType: Sent = { ...removal, type: "kettle" };

export function steepOf(change: Pulled): number | undefined {
  if (change.type === "infusion") {
    return change.fields.steep_s;
  }
  if (change.type === "note") {
    // @ts-expect-error a note has no steeping time
    return change.fields.steep_s;
  }
  return undefined;
}

export const cursorOf = (answer: Answer): number => answer.cursor;
