"""Files that phones and others send as photos, and how they are sent."""

import hashlib
import io
import struct
import zlib
from pathlib import Path
from uuid import UUID, uuid4

import numpy as np
from django.utils import timezone
from PIL import Image, ImageCms

from api.photos.content import MAX_PIECE_BYTES
from tastings.actions.photo_checks import check_photo
from tastings.maths.colour.cielab import linear

PLACE = {1: "N", 2: (25.0, 2.0, 1.0), 3: "E", 4: (121.0, 33.0, 1.0)}
"""GPS tags of EXIF: a latitude and a longitude."""


def scene(width=240, height=180, *, liquor=(199, 120, 40), white=(240, 240, 240)):
    """Return a picture of a bowl: white around, liquor in the middle half."""
    pixels = np.empty((height, width, 3), np.uint8)
    pixels[:] = white
    pixels[height // 4 : -(height // 4), width // 4 : -(width // 4)] = liquor
    return Image.fromarray(pixels)


WHITE = {"x": 0.02, "y": 0.02, "width": 0.9, "height": 0.2}
LIQUOR = {"x": 0.3, "y": 0.3, "width": 0.4, "height": 0.4}


def encode_image(picture, kind="JPEG", **options):
    """Return the bytes of a file."""
    written = io.BytesIO()
    picture.save(written, kind, **options)
    return written.getvalue()


def phone_photo(**of_scene):
    """Return a JPEG as a phone writes it: held sideways, with place, maker, comment, thumbnail and profile."""
    exif = Image.Exif()
    exif[0x0112] = 6  # turn a quarter to the right
    exif[0x010F] = "Maker of the phone"
    exif.get_ifd(0x8825).update(PLACE)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return encode_image(
        scene(**of_scene), exif=exif, icc_profile=profile, comment=b"where the garden lies", dpi=(72, 72), quality=95
    )


def heic(*, declared=None):
    """Return a HEIC file of `scene` with maker and place, as a phone writes it; ``declared`` is another size for it.

    Written once by libheif's encoder, which Leafspan does not have: it only reads such files.
    """
    file = (Path(__file__).parent / "bowl.heic").read_bytes()
    if declared is None:
        return file
    size_at = file.index(b"ispe") + 8  # ISO/IEC 23008-12, ImageSpatialExtentsProperty: version, width, height
    return file[:size_at] + struct.pack(">II", *declared) + file[size_at + 8 :]


def png_header(width, height):
    """Return a PNG with a large declared size and hardly any data."""

    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = zlib.compress(b"\x00" * 1_000_000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def segments(jpeg):
    """Return the marker of every segment of a JPEG up to its scan, and what follows its end."""
    at, found = 2, []
    while jpeg[at + 1] != 0xDA:
        found.append(jpeg[at + 1])
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4])
    end = jpeg.index(b"\xff\xd9", at) + 2
    return found, jpeg[end:]


def announced(file, **fields):
    """Return the body that announces a file."""
    return {
        "id": str(uuid4()),
        "of": "liquor",
        "sha256": hashlib.sha256(file).hexdigest(),
        "bytes": len(file),
        **fields,
    }


def announce(who, file, **fields):
    """Announce a file; return its address and the answer."""
    body = announced(file, **fields)
    return f"/api/v1/photos/{body['id']}/", who.client.post("/api/v1/photos/", body)


def send(who, address, piece, offset):
    """Send one piece."""
    return who.client.generic(
        "PUT", f"{address}content", piece, content_type="application/octet-stream", HTTP_UPLOAD_OFFSET=str(offset)
    )


def on_disk(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def upload_and_check(who, file, **fields):
    """Send a file and have it checked; return its address and what is shown of it."""
    address, answer = announce(who, file, **fields)
    assert answer.status_code == 201, answer.content
    if answer.json()["state"] == "receiving":
        for offset in range(0, len(file), MAX_PIECE_BYTES):
            assert send(who, address, file[offset : offset + MAX_PIECE_BYTES], offset).status_code == 200
        check_photo(UUID(answer.json()["id"]), now=timezone.now())
    return address, who.client.get(address).json()


def served(who, address, which="image"):
    answer = who.client.get(f"{address}{which}")
    assert answer.status_code == 200, answer.content
    return answer, answer.getvalue()


# Colorants in the D50 connection space, columns red, green, blue: Display P3 and sRGB as their ICC profiles print them
# (from memory; P3's primaries are SMPTE EG 432-1, sRGB's IEC 61966-2-1)
P3 = np.array([[0.5151, 0.2920, 0.1571], [0.2412, 0.6922, 0.0666], [-0.0011, 0.0419, 0.7841]])
SRGB = np.array([[0.4360, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]])


def p3_profile():
    """Return an ICC profile with Display P3's primaries: sRGB's with three tags exchanged."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    for i in range(int.from_bytes(profile[128:132])):
        name, offset, _ = struct.unpack_from(">4sII", profile, 132 + 12 * i)
        if name in (b"rXYZ", b"gXYZ", b"bXYZ"):
            fixed = np.round(P3[:, "rgb".index(chr(name[0]))] * 65536).astype(int)
            struct.pack_into(">iii", profile, offset + 8, *fixed.tolist())
    return bytes(profile)


def p3_in_srgb(levels):
    """Return the sRGB levels of a colour given in Display P3, which has sRGB's transfer curve."""
    light = np.linalg.solve(SRGB, P3 @ linear(np.array(levels) / 255))
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055)
