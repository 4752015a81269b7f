"""Examples of request bodies in the OpenAPI document, for those that are no record; every name in them is invented."""

from api.http.examples import NEW_RECORDS, example_id

_LOT, _OTHER_LOT, _SESSION, _SHOP, _USER, _OTHER_USER = (example_id(n) for n in (1, 8, 2, 9, 10, 11))
_PASSWORD, _TOKEN = "a long sentence about tea", "Vb3uQ0o2…"

BODY_EXAMPLES: dict[str, dict[str, object]] = {
    "SignInRequest": {"username": "ilva", "password": _PASSWORD, "device": "phone at the bar"},
    "CodeSignInRequest": {"code": "K7QF-2M9X", "device": "phone at the bar"},
    "FromSessionRequest": {"device": "browser at the desk"},
    "ForgottenPasswordRequest": {"username": "ilva"},
    "NewPasswordRequest": {"token": _TOKEN, "password": _PASSWORD},
    "PasswordsRequest": {"password": "the present one", "new_password": _PASSWORD},
    "NewEmailRequest": {"email": "ilva@tea.example", "password": _PASSWORD},
    "VerificationRequest": {"token": _TOKEN},
    "NewInvitationRequest": {"role": "taster", "shop": _SHOP},
    "AcceptingInvitationRequest": {"token": _TOKEN, "username": "oren", "password": _PASSWORD, "device": "phone"},
    "PatchedMemberChangeRequest": {"role": "buyer"},
    "ShopNameRequest": {"name": "Ford Street"},
    "PatchedShopChangeRequest": {"usual_pot": NEW_RECORDS["pot"]["id"]},
    "PatchedTeamChangeRequest": {"ready_roast": 3},
    "HandOverRequest": {"to": _OTHER_USER},
    "PatchedChangedLotRequest": {"remarks": "round, long finish", "roast": "medium"},
    "PatchedChangedSessionRequest": {"ending": "spent", "more_low": 0, "more_high": 1},
    "PatchedChangedInfusionRequest": {"kettle_c": 96},
    "PatchedChangedNoteRequest": {"intensity": 7},
    "PatchedChangedDescriptorRequest": {"synonyms": ["slate after rain"]},
    "PatchedChangedPotRequest": {"pour_s": 8},
    "MergeWordRequest": {"into": "wet_slate"},
    "TextToReadRequest": {"text": "quite sweet, a little smoke at the end"},
    "AcceptedSuggestionsRequest": {"accept": [{"descriptor": "sweetness", "intensity": 6.5}]},
    "NewFlightRequest": {
        "id": example_id(12), "name": "Spring oolongs", "lots": [_LOT, _OTHER_LOT], "tasters": [_USER, _OTHER_USER],
        "protocol": "covered_bowl", "cups_per_sitting": 2, "repeats": 1,
    },
    "PatchedFlightChangeRequest": {"tasters": [_USER]},
    "NewRevealRequest": {"reason": "one cup was spilled"},
    "NewAdmissionRequest": {"revision": 1234},
    "NewDecisionRequest": {
        "reason": "steadiest, and liked most",
        "chosen": [
            {"lot": _LOT, "bought": example_id(13), "quantity_g": 5000, "price_per_kg": 240, "currency": "EUR"},
        ],
    },
    "StreamBodyRequest": {"schema": 1, "device": example_id(6), "cursor": 0, "scope": {"days": 120, "lots": [_LOT]}},
    "NewPhotoRequest": {
        "id": example_id(14), "session": _SESSION, "of": "liquor", "bytes": 482113,
        "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    },
    "NewLiquorColourRequest": {
        "white": {"x": 0.1, "y": 0.1, "width": 0.15, "height": 0.1},
        "liquor": {"x": 0.45, "y": 0.5, "width": 0.1, "height": 0.1},
    },
    "NewShareRequest": {"lot": _LOT, "shows": "card", "lang": "de"},
    "NewTriangleTestRequest": {"id": example_id(15), "lot": _LOT, "against": _OTHER_LOT, "held_on": "2026-03-05"},
    "ChosenTastersRequest": {"tasters": [_USER], "answers_each": 2},
    "NewTrialRequest": {"id": example_id(16), "taster": _USER, "correct": True},
}  # fmt: skip
"""Examples by the name of their schema."""
