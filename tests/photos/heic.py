"""A HEIC for the tests. Nothing that we install can write one, so this is one that was made once, with
libheif and x265: 64 by 48 pixels, the left half blue (20, 90, 160), the right half orange (200, 120, 60),
held upright only after a quarter turn clockwise (`irot`, and Exif orientation 6), with a maker and a place in
its Exif data.
"""

import base64
import struct

TURNED = base64.b64decode(
    "AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAbRtZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAAAAAAAA"
    "AAAAADRpbG9jAAAAAERAAAIAAQAAAAAB2AABAAAAAAAAAFAAAgAAAAACKAABAAAAAAAAAHgAAAA4aWluZgAAAAAAAgAAABVp"
    "bmZlAgAAAAABAABodmMxAAAAABVpbmZlAgAAAQACAABFeGlmAAAAAA5waXRtAAAAAAABAAAA82lwcnAAAADTaXBjbwAAAHZo"
    "dmNDAQNwAAAAkAAAAAAAHvAA/P34+AAADwNgAAEAGEABDAH//wNwAAADAJAAAAMAAAMAHroCQGEAAQAqQgEBA3AAAAMAkAAA"
    "AwAAAwAeoCCBBZbq5Ka5uAhoMCAAAAMDIAAAAwAhYgABAAZEAcFzwIkAAAAUaXNwZQAAAAAAAABAAAAAQAAAAChjbGFwAAAA"
    "QAAAAAEAAAAwAAAAAQAAAAAAAAAC////8AAAAAIAAAAQcGl4aQAAAAADCAgIAAAACWlyb3QDAAAAGGlwbWEAAAAAAAAAAQAB"
    "BYECBIOFAAAAGmlyZWYAAAAAAAAADmNkc2MAAgABAAEAAADQbWRhdAAAAEwoAa9Y5vTqv//m3XkfNWn/5Fc/V/+fb6/6s66/"
    "n01WlfbRreOiOOm2AOZ8mRCDHoKKqRQPh9k7loO+jsk01PNwSDtnWR191SHyhjAwAAAABkV4aWYAAE1NACoAAAAIAAMBDwAC"
    "AAAABgAAADIBEgADAAAAAQAGAACIJQAEAAAAAQAAADgAAAAATWFrZXIAAAIAAQACAAAAAk4AAAAAAgAFAAAAAwAAAFYAAAAA"
    "AAAAMwAAAAEAAAAeAAAAAQAAAAAAAAAB"
)


def claiming(width: int, height: int) -> bytes:
    """The same file with another size in its header."""
    at = TURNED.index(b"ispe") + 8
    return TURNED[:at] + struct.pack(">II", width, height) + TURNED[at + 8 :]
