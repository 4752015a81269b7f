// What the phone stores: types only.

export type RecordType = "lot" | "session" | "infusion" | "note" | "descriptor" | "pot";
/** What phones pull and never push. */
export type PullOnlyType = "photo" | "flight" | "member" | "shop";
/** Values by name, as the API has them. */
export type Fields = Record<string, any>;
export type Problem = { field: string; code: string; detail: string };
/** One edit, as it is sent. */
export type Change = { type: string; id: string; at: string; seq?: number; fields?: Fields; deleted?: boolean };

/** A change that the server has not confirmed. */
export interface UnsentChange {
  /** Identifies changes and orders them. */
  number: number;
  change: Change;
  /** Whether it creates the record. */
  begins: boolean;
  /** Why the server has not accepted it so far. */
  problems: Problem[];
  /** Of a confirmed change: shown until this revision has been pulled. */
  revision?: number;
}

/** A record as last pulled. */
export interface PulledRecord {
  id: string;
  type: string;
  fields: Fields;
  revision: number;
  /** Who edited it last; null of what phones only pull, as the next two. */
  by: string | null;
  /** Who made it. */
  author: string | null;
  /** Moment of its latest edit. */
  at: string | null;
  /** Number of the last full pull that contained it. */
  seen_in: number;
}

/** A record as the server sends it. */
export interface PulledChange {
  id: string;
  type: string;
  revision: number;
  deleted?: boolean;
  out_of_scope?: boolean;
  fields?: Fields;
  by?: string | null;
  author?: string | null;
  at?: string | null;
}

/** Sessions of the last days and of some lots. */
export type Scope = { days: number; lots: string[] };
/** Sessions that began on that day or later, and those of some lots. */
export type ScopeHere = { since: string; lots: string[] };

export interface Page {
  changes: PulledChange[];
  cursor: number;
  more: boolean;
  /** The server's note of what the phone then has of its scope. */
  scope_token?: string;
  /** What the phone has after the last page; null for everything. */
  here?: ScopeHere | null;
}

/** A photo that the server does not have yet. */
export interface QueuedPhoto {
  /** What the server is asked to expect. */
  announced: Fields & { id: string };
  /** Why it was refused. */
  problems: Problem[];
}

/** A record as screens show it. */
export interface Row {
  id: string;
  fields: Fields;
  /** Moment of its latest edit. */
  at: string | null;
  /** Who edited it last. */
  by: string | null;
  /** Who made it. */
  author: string | null;
  revision: number | null;
  /** Whether it includes edits that the server has not confirmed. */
  unsent: boolean;
}

/** Everything that the phone knows, in parts. */
export interface State {
  /** `device`, `token`, `cursor`, `last_at`, `number`, `full_pass`, `in_full_pass`, `scope`, `scope_token`, `here`. */
  meta: Map<string, any>;
  records: Map<string, PulledRecord>;
  /** Changes to be sent. */
  outbox: Map<number, UnsentChange>;
  /** Changes that the server refused. */
  refused: Map<number, UnsentChange>;
  /** Changes that are sent and not pulled yet. */
  confirmed: Map<number, UnsentChange>;
  photos: Map<string, QueuedPhoto>;
}

export type Part = keyof State;
/** A value to set, or without one to remove. */
export type PartChange = { part: Part; key: string | number; value?: any };
export type Event = { event: string } & Record<string, any>;
