"""What goes wrong in the office's keeping, each with one line a person can act on.

OfficeError               the base: bad input or a state that forbids the wish
  FolderError             the data folder cannot be used as asked
  EditionError            these bytes cannot be published, or no such edition
  DeviceError             no such phone, or not a phone that may do this
  PhotoError              these bytes are not the photo they should be
"""

from __future__ import annotations


class OfficeError(Exception):
    """One sentence on what is wrong and how to mend it."""


class FolderError(OfficeError):
    pass


class EditionError(OfficeError):
    pass


class DeviceError(OfficeError):
    pass


class PhotoError(OfficeError):
    pass
