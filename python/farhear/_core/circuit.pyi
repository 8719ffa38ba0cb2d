from __future__ import annotations
import farhear._core.ionosphere
import farhear._core.losses
import farhear._core.magnetic
import farhear._core.sporadic
import typing

class Models:
    def __init__(
        self,
        maps: farhear._core.ionosphere.Maps,
        field: farhear._core.magnetic.Model,
        es: farhear._core.sporadic.Maps,
        land: farhear._core.losses.Land,
    ) -> None: ...

class Options:
    auroral: bool
    f1: bool
    focusing: bool
    high_ray: bool
    low_angle: bool
    sporadic_e: bool
    def __init__(self) -> None: ...
    @property
    def absorption_scale(self) -> float: ...
    @absorption_scale.setter
    def absorption_scale(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def es_dependence(self) -> float: ...
    @es_dependence.setter
    def es_dependence(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def most_focusing_db(self) -> float: ...
    @most_focusing_db.setter
    def most_focusing_db(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def other_loss_db(self) -> float: ...
    @other_loss_db.setter
    def other_loss_db(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def penetration_db(self) -> float: ...
    @penetration_db.setter
    def penetration_db(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def scatter_db(self) -> float: ...
    @scatter_db.setter
    def scatter_db(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
