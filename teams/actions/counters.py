"""How far a team's counter is moved on when its records come from a file.

A phone asks for what comes after its cursor. One that spoke with the server after the file was made holds a cursor that
the counter of the file has not reached: what is written next would get revisions below it and never reach that phone.
So the counter goes past every cursor that a phone may hold.
"""

REVISION_JUMP = 1_000_000_000
"""More changes than a team makes between a backup and the loss of the server; there is room for billions of them."""
