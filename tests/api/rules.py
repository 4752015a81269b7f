"""Who may do what: one table of every route and method, and of what everyone is answered."""

import re

from tests.api.world import ROLES

TABLE = """
                                                           owner   buyer   taster  viewer  nobody  left    stranger
get    /api/v1/audit                                       ok      403     403     403     401     401     ok
post   /api/v1/auth/reset                                  ok      ok      ok      ok      ok      ok      ok
post   /api/v1/auth/reset/password                         ok      ok      ok      ok      ok      ok      ok
get    /api/v1/auth/tokens                                 ok      ok      ok      ok      401     401     ok
post   /api/v1/auth/tokens                                 ok      ok      ok      ok      ok      401     ok
post   /api/v1/auth/codes                                  ok      ok      ok      ok      401     401     ok
post   /api/v1/auth/tokens/from-session                    ok      ok      ok      ok      401     401     ok
delete /api/v1/auth/tokens                                 ok      ok      ok      ok      401     401     ok
delete /api/v1/auth/tokens/{token_id}                      404     404     ok      404     401     401     404
get    /api/v1/compare                                     ok      ok      ok      ok      401     401     404
get    /api/v1/descriptors/                                ok      ok      ok      ok      401     401     ok
post   /api/v1/descriptors/                                ok      ok      ok      403     401     401     ok
get    /api/v1/descriptors/{record_id}/                    ok      ok      ok      ok      401     401     404
patch  /api/v1/descriptors/{record_id}/                    ok      ok      ok      403     401     401     404
delete /api/v1/descriptors/{record_id}/                    ok      ok      ok      403     401     401     404
get    /api/v1/descriptors/{record_id}/history             ok      ok      ok      ok      401     401     404
post   /api/v1/descriptors/{record_id}/merge               ok      ok      403     403     401     401     404
get    /api/v1/docs                                        ok      ok      ok      ok      ok      ok      ok
get    /api/v1/docs/client                                 ok      ok      ok      ok      ok      ok      ok
get    /api/v1/docs/conformance                            ok      ok      ok      ok      ok      ok      ok
get    /api/v1/docs/conformance/{name}                     ok      ok      ok      ok      ok      ok      ok
get    /api/v1/docs/examples/first-tasting.json            ok      ok      ok      ok      ok      ok      ok
get    /api/v1/docs/{resource}                             ok      ok      ok      ok      ok      ok      ok
get    /api/v1/events                                      501     501     501     501     401     401     501
get    /api/v1/flights/                                    ok      ok      ok      ok      401     401     ok
post   /api/v1/flights/                                    ok      ok      403     403     401     401     unknown
get    /api/v1/flights/{flight_id}/                        ok      ok      ok      ok      401     401     404
patch  /api/v1/flights/{flight_id}/                        ok      ok      403     403     401     401     404
delete /api/v1/flights/{flight_id}/                        ok      ok      403     403     401     401     404
get    /api/v1/flights/{flight_id}/answer                  ok      ok      ok      ok      401     401     404
post   /api/v1/flights/{flight_id}/late/{session_id}/admit ok      ok      403     403     401     401     404
post   /api/v1/flights/{flight_id}/decision                ok      ok      403     403     401     401     404
get    /api/v1/flights/{flight_id}/pouring                 403     ok      403     403     401     401     404
post   /api/v1/flights/{flight_id}/reveal                  ok      ok      403     403     401     401     404
get    /api/v1/infusions/                                  ok      ok      ok      ok      401     401     ok
post   /api/v1/infusions/                                  ok      ok      ok      403     401     401     unknown
get    /api/v1/infusions/{record_id}/                      ok      ok      ok      ok      401     401     404
patch  /api/v1/infusions/{record_id}/                      ok      ok      ok      403     401     401     404
delete /api/v1/infusions/{record_id}/                      ok      ok      ok      403     401     401     404
get    /api/v1/infusions/{record_id}/history               ok      ok      ok      ok      401     401     404
get    /api/v1/invitations/                                ok      403     403     403     401     401     ok
post   /api/v1/invitations/                                ok      403     403     403     401     401     unknown
post   /api/v1/invitations/accept                          ok      ok      ok      ok      ok      ok      ok
delete /api/v1/invitations/{invitation_id}/                ok      403     403     403     401     401     404
get    /api/v1/lots/                                       ok      ok      ok      ok      401     401     ok
post   /api/v1/lots/                                       ok      ok      ok      403     401     401     ok
get    /api/v1/lots/{lot_id}/arrival-check                 ok      ok      ok      ok      401     401     404
get    /api/v1/lots/{lot_id}/body-feeling                  ok      ok      ok      ok      401     401     404
get    /api/v1/lots/{lot_id}/brew-guide                    ok      ok      ok      ok      401     401     404
get    /api/v1/lots/{lot_id}/development                   ok      ok      ok      ok      401     401     404
get    /api/v1/lots/{lot_id}/other-harvests                ok      ok      ok      ok      401     401     404
get    /api/v1/lots/{lot_id}/other-vessel                  ok      ok      ok      ok      401     401     404
get    /api/v1/lots/{lot_id}/readiness                     ok      ok      ok      ok      401     401     404
get    /api/v1/lots/{record_id}/                           ok      ok      ok      ok      401     401     404
patch  /api/v1/lots/{record_id}/                           ok      ok      ok      403     401     401     404
delete /api/v1/lots/{record_id}/                           ok      ok      ok      403     401     401     404
get    /api/v1/lots/{record_id}/history                    ok      ok      ok      ok      401     401     404
get    /api/v1/me                                          ok      ok      ok      ok      401     401     ok
post   /api/v1/me/email                                    ok      ok      ok      ok      401     401     ok
post   /api/v1/me/email/verification                       422     422     ok      422     401     401     422
put    /api/v1/me/email/verification                       404     404     ok      404     401     401     404
post   /api/v1/me/password                                 ok      ok      ok      ok      401     401     ok
get    /api/v1/members/                                    ok      ok      ok      ok      401     401     ok
get    /api/v1/members/{user_id}/                          ok      ok      ok      ok      401     401     404
patch  /api/v1/members/{user_id}/                          ok      403     403     403     401     401     404
delete /api/v1/members/{user_id}/                          ok      403     ok      403     401     401     404
get    /api/v1/next-tastings                               ok      ok      ok      ok      401     401     ok
get    /api/v1/notes/                                      ok      ok      ok      ok      401     401     ok
post   /api/v1/notes/                                      ok      ok      ok      403     401     401     unknown
get    /api/v1/notes/{record_id}/                          ok      ok      ok      ok      401     401     404
patch  /api/v1/notes/{record_id}/                          ok      ok      ok      403     401     401     404
delete /api/v1/notes/{record_id}/                          ok      ok      ok      403     401     401     404
get    /api/v1/notes/{record_id}/history                   ok      ok      ok      ok      401     401     404
get    /api/v1/notes/{record_id}/suggestions               ok      ok      ok      ok      401     401     404
post   /api/v1/notes/{record_id}/suggestions/accept        403     403     ok      403     401     401     404
get    /api/v1/panel                                       ok      ok      ok      ok      401     401     ok
get    /api/v1/photos/                                     ok      ok      ok      ok      401     401     ok
post   /api/v1/photos/                                     ok      ok      ok      403     401     401     unknown
get    /api/v1/photos/{photo_id}/                          ok      ok      ok      ok      401     401     404
delete /api/v1/photos/{photo_id}/                          ok      ok      ok      403     401     401     404
post   /api/v1/photos/{photo_id}/colour                    ok      ok      ok      403     401     401     404
put    /api/v1/photos/{photo_id}/content                   403     403     ok      403     401     401     404
get    /api/v1/photos/{photo_id}/image                     ok      ok      ok      ok      401     401     404
get    /api/v1/photos/{photo_id}/thumbnail                 ok      ok      ok      ok      401     401     404
get    /api/v1/pots/                                       ok      ok      ok      ok      401     401     ok
post   /api/v1/pots/                                       ok      ok      ok      403     401     401     ok
get    /api/v1/pots/{record_id}/                           ok      ok      ok      ok      401     401     404
patch  /api/v1/pots/{record_id}/                           ok      ok      ok      403     401     401     404
delete /api/v1/pots/{record_id}/                           ok      ok      ok      403     401     401     404
get    /api/v1/pots/{record_id}/history                    ok      ok      ok      ok      401     401     404
post   /api/v1/read                                        ok      ok      ok      ok      401     401     ok
get    /api/v1/schema                                      ok      ok      ok      ok      ok      ok      ok
get    /api/v1/sessions/                                   ok      ok      ok      ok      401     401     ok
post   /api/v1/sessions/                                   ok      ok      ok      403     401     401     unknown
get    /api/v1/sessions/{record_id}/                       ok      ok      ok      ok      401     401     404
patch  /api/v1/sessions/{record_id}/                       ok      ok      ok      403     401     401     404
delete /api/v1/sessions/{record_id}/                       ok      ok      ok      403     401     401     404
get    /api/v1/sessions/{record_id}/history                ok      ok      ok      ok      401     401     404
get    /api/v1/shares/                                     ok      ok      403     403     401     401     ok
post   /api/v1/shares/                                     ok      ok      403     403     401     401     unknown
get    /api/v1/shares/{share_id}/                          ok      ok      403     403     401     401     404
post   /api/v1/shares/{share_id}/keep                      409     403     403     403     401     401     404
delete /api/v1/shares/{share_id}/                          ok      ok      403     403     401     401     404
get    /api/v1/shops/                                      ok      ok      ok      ok      401     401     ok
post   /api/v1/shops/                                      ok      403     403     403     401     401     ok
get    /api/v1/shops/{shop_id}/                            ok      ok      ok      ok      401     401     404
patch  /api/v1/shops/{shop_id}/                            ok      403     403     403     401     401     404
post   /api/v1/sync                                        ok      ok      ok      ok      401     401     ok
post   /api/v1/sync/stream                                 ok      ok      ok      ok      401     401     ok
get    /api/v1/tasters/{taster_id}/calibration             ok      ok      ok      403     401     401     404
get    /api/v1/team                                        ok      ok      ok      ok      401     401     ok
patch  /api/v1/team                                        ok      403     403     403     401     401     ok
get    /api/v1/team/export                                 ok      403     403     403     401     401     ok
get    /api/v1/team/logo                                   ok      ok      ok      ok      401     401     404
put    /api/v1/team/logo                                   ok      403     403     403     401     401     ok
delete /api/v1/team/logo                                   ok      403     403     403     401     401     404
get    /api/v1/team/logo/image                             ok      ok      ok      ok      401     401     404
get    /api/v1/team/usage                                  ok      403     403     403     401     401     ok
post   /api/v1/team/owner                                  ok      403     403     403     401     401     404
get    /api/v1/triangle-tests/                             ok      ok      ok      ok      401     401     ok
post   /api/v1/triangle-tests/                             ok      ok      ok      403     401     401     unknown
get    /api/v1/triangle-tests/{test_id}/                   ok      ok      ok      ok      401     401     404
put    /api/v1/triangle-tests/{test_id}/tasters           ok      ok      ok      403     401     401     404
post   /api/v1/triangle-tests/{test_id}/trials             ok      ok      ok      403     401     401     404
delete /api/v1/triangle-tests/{test_id}/trials/{trial_id}  ok      ok      ok      403     401     401     404
get    /problems/{problem_type}                            ok      ok      ok      ok      ok      ok      ok
get    /account/                                           ok      ok      ok      ok      sign-in ok      ok
get    /account/devices/                                   ok      ok      ok      ok      sign-in ok      ok
post   /account/devices/                                   404     404     ok      404     sign-in 404     404
get    /account/phone/                                     ok      ok      ok      ok      sign-in ok      ok
post   /account/phone/                                     ok      ok      ok      ok      sign-in 403     ok
get    /account/email/                                     ok      ok      ok      ok      sign-in ok      ok
post   /account/email/                                     ok      ok      ok      ok      sign-in ok      ok
get    /account/email/again/                               ok      ok      ok      ok      sign-in ok      ok
post   /account/email/again/                               ok      ok      ok      ok      sign-in ok      ok
get    /account/email/{verification_token}/                404     404     ok      404     sign-in 404     404
post   /account/email/{verification_token}/                404     404     ok      404     sign-in 404     404
get    /account/links/                                     ok      403     403     403     sign-in 403     ok
post   /account/links/                                     ok      403     403     403     sign-in 403     404
get    /account/usage/                                     ok      403     403     403     sign-in 403     ok
get    /flights/                                           ok      ok      ok      ok      sign-in ok      ok
get    /flights/new/                                       ok      ok      403     403     sign-in 403     ok
post   /flights/new/                                       ok      ok      403     403     sign-in 403     ok
get    /flights/{flight_id}/change/                        ok      ok      403     403     sign-in 404     404
post   /flights/{flight_id}/change/                        ok      ok      403     403     sign-in 404     404
get    /flights/{flight_id}/                               ok      ok      ok      ok      sign-in 404     404
get    /flights/{flight_id}/cups/                          ok      ok      ok      ok      sign-in 404     404
get    /flights/{flight_id}/late/{session_id}/             ok      ok      ok      ok      sign-in 404     404
post   /flights/{flight_id}/late/{session_id}/             ok      ok      403     403     sign-in 404     404
get    /flights/{flight_id}/decision/                      ok      ok      403     403     sign-in 404     404
post   /flights/{flight_id}/decision/                      ok      ok      403     403     sign-in 404     404
get    /flights/{flight_id}/call-off/                      ok      ok      403     403     sign-in 404     404
post   /flights/{flight_id}/call-off/                      ok      ok      403     403     sign-in 404     404
get    /flights/{flight_id}/reveal/                        ok      ok      403     403     sign-in 404     404
post   /flights/{flight_id}/reveal/                        ok      ok      403     403     sign-in 404     404
get    /flights/{flight_id}/scores/                        ok      ok      ok      ok      sign-in 404     404
post   /flights/{flight_id}/scores/                        ok      ok      ok      403     sign-in 404     404
get    /flights/{flight_id}/pouring/                       403     ok      403     403     sign-in 404     404
get    /compare/                                           ok      ok      ok      ok      sign-in 404     404
get    /lots/                                              ok      ok      ok      ok      sign-in ok      ok
get    /lots/{lot_id}/card.md                              ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/card.pdf                             ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/arrival/                             ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/card/                                ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/links/                               ok      ok      403     403     sign-in 404     404
post   /lots/{lot_id}/links/                               ok      ok      403     403     sign-in 404     404
get    /lots/{lot_id}/links/{share_id}/end/                ok      ok      ok      ok      sign-in 404     404
post   /lots/{lot_id}/links/{share_id}/end/                ok      ok      403     403     sign-in 404     404
get    /lots/{lot_id}/photos/{photo_id}.jpg                ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/logo.jpg                             ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/report.csv                           ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/report.pdf                           ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/report.png                           ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/report.svg                           ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/report/                              ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/sessions/{session_id}/               ok      ok      ok      ok      sign-in 404     404
get    /lots/{lot_id}/triangles/                           ok      ok      ok      ok      sign-in 404     404
post   /lots/{lot_id}/triangles/                           ok      ok      ok      403     sign-in 404     404
get    /lots/{lot_id}/triangles/{test_id}/                 ok      ok      ok      ok      sign-in 404     404
post   /lots/{lot_id}/triangles/{test_id}/                 ok      ok      ok      403     sign-in 404     404
get    /lots/{lot_id}/triangles/{test_id}/cups/            ok      ok      ok      403     sign-in 404     404
post   /lots/{lot_id}/triangles/{test_id}/cups/            ok      ok      ok      403     sign-in 404     404
get    /lots/{lot_id}/triangles/{test_id}/answer/          ok      ok      ok      403     sign-in 404     404
post   /lots/{lot_id}/triangles/{test_id}/answer/          ok      ok      ok      403     sign-in 404     404
get    /team/                                              ok      ok      ok      ok      sign-in 403     ok
post   /team/                                              ok      ok      ok      ok      sign-in 404     404
get    /team/audit/                                        ok      403     403     403     sign-in 403     ok
get    /team/export/                                       ok      403     403     403     sign-in 403     ok
post   /team/export/                                       ok      403     403     403     sign-in 403     ok
get    /team/import/                                       ok      ok      ok      403     sign-in 403     ok
post   /team/import/                                       ok      ok      ok      403     sign-in 403     ok
get    /team/invitations/{invitation_id}/                  ok      ok      ok      ok      sign-in 403     404
post   /team/invitations/{invitation_id}/                  ok      403     403     403     sign-in 403     404
get    /team/logo.jpg                                      ok      ok      ok      ok      sign-in 403     404
get    /team/logo/                                         ok      403     403     403     sign-in 403     ok
post   /team/logo/                                         ok      403     403     403     sign-in 403     ok
get    /lots/next/                                         ok      ok      ok      ok      sign-in 403     ok
get    /team/panel/                                        ok      ok      ok      ok      sign-in 403     ok
get    /team/people/                                       ok      ok      ok      ok      sign-in 403     ok
post   /team/people/                                       ok      403     403     403     sign-in 403     ok
get    /team/people/{user_id}/                             ok      ok      ok      ok      sign-in 403     404
post   /team/people/{user_id}/                             ok      403     403     403     sign-in 403     404
get    /team/settings/                                     ok      403     403     403     sign-in 403     ok
post   /team/settings/                                     ok      403     403     403     sign-in 403     ok
get    /team/shops/                                        ok      ok      ok      ok      sign-in 403     ok
post   /team/shops/                                        ok      403     403     403     sign-in 403     ok
get    /team/shops/{shop_id}/                              ok      ok      ok      ok      sign-in 403     404
post   /team/shops/{shop_id}/                              ok      ok      403     403     sign-in 403     404
get    /team/words/                                        ok      ok      ok      ok      sign-in 403     ok
get    /team/words/{record_id}/merge/                      ok      ok      403     403     sign-in 404     404
post   /team/words/{record_id}/merge/                      ok      ok      403     403     sign-in 404     404
get    /start/{start_code}/                                404     404     404     404     404     404     404
post   /start/{start_code}/                                404     404     404     404     404     404     404
get    /account/everywhere/                                ok      ok      ok      ok      sign-in ok      ok
post   /account/everywhere/                                ok      ok      ok      ok      sign-in ok      ok
get    /account/password/                                  ok      ok      ok      ok      sign-in ok      ok
post   /account/password/                                  ok      ok      ok      ok      sign-in ok      ok
get    /photos/{photo_id}/                                 ok      ok      ok      ok      sign-in 404     404
post   /photos/{photo_id}/                                 ok      ok      ok      403     sign-in 404     404
get    /photos/{photo_id}/picture.jpg                      ok      ok      ok      ok      sign-in 404     404
get    /records/{record_type}/{record_id}/photos/          ok      ok      ok      ok      sign-in 404     404
post   /records/{record_type}/{record_id}/photos/          ok      ok      ok      403     sign-in 404     404
get    /records/{record_type}/new/                         ok      ok      ok      403     sign-in 403     ok
post   /records/{record_type}/new/                         ok      ok      ok      403     sign-in 403     ok
get    /records/{record_type}/{record_id}/                 ok      ok      ok      ok      sign-in 404     404
post   /records/{record_type}/{record_id}/                 ok      ok      ok      403     sign-in 404     404
get    /records/{record_type}/{record_id}/history/         ok      ok      ok      ok      sign-in 404     404
post   /records/{record_type}/{record_id}/history/         ok      ok      ok      403     sign-in 404     404
get    /                                                   ok      ok      ok      ok      ok      ok      ok
post   /                                                   ok      ok      ok      ok      ok      ok      ok
put    /                                                   ok      ok      ok      ok      ok      ok      ok
patch  /                                                   ok      ok      ok      ok      ok      ok      ok
delete /                                                   ok      ok      ok      ok      ok      ok      ok
get    /join/{invitation_token}/                           ok      ok      ok      ok      ok      ok      ok
post   /join/{invitation_token}/                           ok      ok      ok      ok      ok      ok      ok
post   /language/                                         ok      ok      ok      ok      ok      ok      ok
get    /reset/                                             ok      ok      ok      ok      ok      ok      ok
post   /reset/                                             ok      ok      ok      ok      ok      ok      ok
get    /reset/{reset_token}/                               ok      ok      ok      ok      ok      ok      ok
post   /reset/{reset_token}/                               ok      ok      ok      ok      ok      ok      ok
get    /shared/{share_token}.csv                           ok      ok      ok      ok      ok      ok      ok
get    /shared/{share_token}.md                            404     404     404     404     404     404     404
get    /shared/{share_token}.pdf                           ok      ok      ok      ok      ok      ok      ok
get    /shared/{share_token}.png                           ok      ok      ok      ok      ok      ok      ok
get    /shared/{share_token}.svg                           ok      ok      ok      ok      ok      ok      ok
get    /shared/{share_token}/                              ok      ok      ok      ok      ok      ok      ok
get    /shared/{share_token}/logo.jpg                      ok      ok      ok      ok      ok      ok      ok
get    /shared/{share_token}/photos/{photo_id}.jpg         ok      ok      ok      ok      ok      ok      ok
get    /table/                                             ok      ok      ok      ok      ok      ok      ok
get    /table/manifest.webmanifest                         ok      ok      ok      ok      ok      ok      ok
get    /table/sw.js                                        ok      ok      ok      ok      ok      ok      ok
get    /metrics                                            404     404     404     404     404     404     404
get    /sign-in/                                           ok      ok      ok      ok      ok      ok      ok
post   /sign-in/                                           ok      ok      ok      ok      ok      ok      ok
put    /sign-in/                                           ok      ok      ok      ok      ok      ok      ok
get    /sign-out/                                          405     405     405     405     405     405     405
post   /sign-out/                                          ok      ok      ok      ok      ok      ok      ok
"""
"""Of each role in `ROLES` what it is answered: ``ok`` (of a stranger: with what is of their own team), a status,
``sign-in`` (a page sends who is not signed in there), ``unknown`` (422: what the body names is not there).

Things are the taster's: the device, the member, the note, the photo under way; the buyer pours the flight. WSGI serves
no events, which it says to whoever may listen (501). Shared is a report, which has no Markdown. Metrics are for a
program that has a token of its own.
"""
ROWS = [line.split() for line in TABLE.strip().splitlines()[1:]]
COLUMNS = [role for role in ROLES if role != "colleague"]
NOT_YOURS = """
patch  /api/v1/descriptors/{record_id}/                    403
delete /api/v1/descriptors/{record_id}/                    403
post   /api/v1/infusions/                                  403
patch  /api/v1/infusions/{record_id}/                      403
delete /api/v1/infusions/{record_id}/                      403
patch  /api/v1/lots/{record_id}/                           403
delete /api/v1/lots/{record_id}/                           403
post   /api/v1/notes/                                      403
patch  /api/v1/notes/{record_id}/                          403
delete /api/v1/notes/{record_id}/                          403
patch  /api/v1/pots/{record_id}/                           403
delete /api/v1/pots/{record_id}/                           403
patch  /api/v1/sessions/{record_id}/                       403
delete /api/v1/sessions/{record_id}/                       403
delete /api/v1/auth/tokens/{token_id}                      404
delete /api/v1/members/{user_id}/                          403
post   /api/v1/notes/{record_id}/suggestions/accept        403
delete /api/v1/photos/{photo_id}/                          403
post   /api/v1/photos/{photo_id}/colour                    403
put    /api/v1/photos/{photo_id}/content                   403
get    /api/v1/tasters/{taster_id}/calibration             403
post   /api/v1/triangle-tests/{test_id}/trials             403
delete /api/v1/triangle-tests/{test_id}/trials/{trial_id}  403
get    /lots/{lot_id}/triangles/{test_id}/cups/            403
post   /lots/{lot_id}/triangles/{test_id}/cups/            403
put    /api/v1/triangle-tests/{test_id}/tasters           403
post   /account/devices/                                   404
put    /api/v1/me/email/verification                       404
post   /api/v1/me/email/verification                       422
post   /records/{record_type}/{record_id}/                 403
post   /records/{record_type}/{record_id}/photos/          403
post   /photos/{photo_id}/                                 403
post   /records/{record_type}/{record_id}/history/         403
get    /account/email/{verification_token}/                404
post   /account/email/{verification_token}/                404
"""
"""What the colleague is answered where it is not what the taster is: the things are the taster's."""
_OF_COLLEAGUE = {(address, method): cell for method, address, cell in map(str.split, NOT_YOURS.strip().splitlines())}
RULES = {
    (address, method): dict(zip(COLUMNS, cells, strict=True))
    | {"colleague": _OF_COLLEAGUE.get((address, method), cells[COLUMNS.index("taster")])}
    for method, address, *cells in ROWS
}
AN_ID = re.compile("[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
