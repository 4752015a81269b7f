/**
 * What the phone stores: types only.
 *
 * @typedef {"lot"|"session"|"infusion"|"note"|"descriptor"|"pot"} RecordType
 * @typedef {"photo"|"flight"|"member"|"shop"} PullOnlyType what phones pull and never push
 * @typedef {Object<string, any>} Fields values by name, as the API has them
 * @typedef {{field: string, code: string, detail: string}} Problem
 * @typedef {{type: string, id: string, at: string, seq?: number, fields?: Fields, deleted?: boolean}} Change one edit, as it is sent
 *
 * @typedef {object} UnsentChange a change that the server has not confirmed
 * @property {number} number identifies changes and orders them
 * @property {Change} change
 * @property {boolean} begins whether it creates the record
 * @property {Problem[]} problems why the server has not accepted it so far
 * @property {number} [revision] of a confirmed change: shown until this revision has been pulled
 *
 * @typedef {object} PulledRecord a record as last pulled
 * @property {string} id
 * @property {string} type
 * @property {Fields} fields
 * @property {number} revision
 * @property {?string} by who edited it last; null of what phones only pull, as the next two
 * @property {?string} author who made it
 * @property {?string} at moment of its latest edit
 * @property {number} seen_in number of the last full pull that contained it
 *
 * @typedef {object} PulledChange a record as the server sends it
 * @property {string} id
 * @property {string} type
 * @property {number} revision
 * @property {boolean} [deleted]
 * @property {boolean} [out_of_scope]
 * @property {Fields} [fields]
 * @property {?string} [by]
 * @property {?string} [author]
 * @property {?string} [at]
 *
 * @typedef {{days: number, lots: string[]}} Scope sessions of the last days and of some lots
 * @typedef {{since: string, lots: string[]}} ScopeHere sessions that began on that day or later, and those of some lots
 *
 * @typedef {object} Page
 * @property {PulledChange[]} changes
 * @property {number} cursor
 * @property {boolean} more
 * @property {string} [scope_token] the server's note of what the phone then has of its scope
 * @property {?ScopeHere} [here] what the phone has after the last page; null for everything
 *
 * @typedef {object} QueuedPhoto a photo that the server does not have yet
 * @property {Object<string, any> & {id: string}} announced what the server is asked to expect
 * @property {Problem[]} problems why it was refused
 *
 * @typedef {object} Row a record as screens show it
 * @property {string} id
 * @property {Fields} fields
 * @property {?string} at moment of its latest edit
 * @property {?string} by who edited it last
 * @property {?string} author who made it
 * @property {?number} revision
 * @property {boolean} unsent whether it includes edits that the server has not confirmed
 *
 * @typedef {object} State everything that the phone knows, in parts
 * @property {Map<string, any>} meta device, token, cursor, last_at, number, full_pass, in_full_pass, scope, scope_token, here
 * @property {Map<string, PulledRecord>} records
 * @property {Map<number, UnsentChange>} outbox changes to be sent
 * @property {Map<number, UnsentChange>} refused changes that the server refused
 * @property {Map<number, UnsentChange>} confirmed changes that are sent and not pulled yet
 * @property {Map<string, QueuedPhoto>} photos
 *
 * @typedef {keyof State} Part
 * @typedef {{part: Part, key: string|number, value?: any}} PartChange a value to set, or without one to remove
 * @typedef {{event: string} & Object<string, any>} Event
 */

export {};
