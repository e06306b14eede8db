"""Whether a file is a photo that can be kept: known by its content, not by its name."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL import Image

#: Bytes of a photo at most, and points of its picture: more than any telephone makes.
MOST_OF_A_PHOTO, MOST_POINTS = 30_000_000, 120_000_000
#: Kinds that are taken, and the endings of their names in the job.
PHOTO_KINDS = {"JPEG": ".jpg", "PNG": ".png"}
#: The tag under which a camera writes where it was (Exif 2.3, 4.6.3: GPS Info IFD Pointer).
_GPS = 0x8825


class NoPhoto(ValueError):
    """This is no photo that can be kept."""


@dataclass(frozen=True, slots=True)
class Picture:
    """What is known of a photo.

    Attributes:
        ending: of its name, by its content.
        width, height: in points.
        located: whether it says where it was taken.
    """

    ending: str
    width: int
    height: int
    located: bool


def look_at(data: bytes) -> Picture:
    """What a photo is, read whole.

    Raises:
        NoPhoto: it is none, of another kind, too large or broken.
    """
    with opened(data) as image:
        located = bool(image.getexif().get_ifd(_GPS))
        return Picture(PHOTO_KINDS[image.format or ""], image.width, image.height, located)


@contextmanager
def opened(data: bytes) -> Iterator[Image.Image]:
    """A photo, read whole.

    Raises:
        NoPhoto: as of `look_at`.
    """
    from PIL import Image

    if len(data) > MOST_OF_A_PHOTO:
        raise NoPhoto(f"it has more than {MOST_OF_A_PHOTO // 1_000_000} megabytes")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what is odd in it, but can be read
        try:
            Image.open(BytesIO(data), formats=list(PHOTO_KINDS)).verify()  # which uses it up
            image = Image.open(BytesIO(data), formats=list(PHOTO_KINDS))
            if image.width * image.height > MOST_POINTS:
                raise NoPhoto(f"its picture has {image.width} × {image.height} points")
            image.load()
        except NoPhoto:
            raise
        except Exception as error:  # the library raises a dozen kinds for broken pictures
            raise NoPhoto(f"it is no picture of the kinds {' and '.join(PHOTO_KINDS)}") from error
        yield image
