"""How an action says no."""


class Refused(Exception):
    """An action that cannot be done, with a sentence for the person who asked. Nothing has changed.

    `field` names the form field that the sentence belongs to, where there is one.
    """

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.field = field
