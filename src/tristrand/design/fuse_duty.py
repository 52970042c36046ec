"""What a design says about its fuses beyond their sheets: who opens where a fuse does not, and how often it is used."""

from typing import Any

from pydantic import Field

from tristrand.design.base import empty_list

OVERLOAD_BY: Any = Field(
    default_factory=empty_list,
    description="contactors that open, or devices that limit their own current, where the fuse is too slow to protect",
)
OVERLOAD_TRIP: Any = Field(
    default=None,
    description="current through the fuse above which those contactors are told to open, and the longest time to that",
)
