"""The two ways a model can refuse: bad input, and a solve that cannot be trusted."""


class InputError(ValueError):
    """A value outside what is allowed.

    field: the dotted name of the input, value: what was given, allowed: what would be right.
    """

    def __init__(self, field: str, value: object, allowed: str) -> None:
        self.field, self.value, self.allowed = field, value, allowed
        super().__init__(f"{field} = {value}: {allowed}")

    def __reduce__(self) -> tuple[type, tuple[str, object, str]]:
        return type(self), (self.field, self.value, self.allowed)


class SolveError(RuntimeError):
    """The engine gave no usable answer for a valid input."""
