"""Errors that a person can act on: what is wrong, the value seen, what to do."""


class DamageScoreError(Exception):
    """Base of every error that the program raises on purpose.

    Parameters
    ----------
    message : str
        One sentence: what is wrong and the value seen.
    remedy : str
        One sentence: what to do about it.
    """

    def __init__(self, message: str, *, remedy: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.message} {self.remedy}".strip()


class PhotoError(DamageScoreError):
    """The file cannot be used as a photo."""


class ScaleError(DamageScoreError):
    """No trustworthy scale could be established."""


class CalibrationError(DamageScoreError):
    """Photos do not calibrate a camera."""


class EdgeError(DamageScoreError):
    """The laminated edge could not be found in the photo."""


class TraceError(DamageScoreError):
    """A crack could not be traced between the given points."""


class LimitError(DamageScoreError):
    """A limit set is not usable; the message names the line or field."""


class RecordError(DamageScoreError):
    """A record cannot be saved, changed, signed or read."""


class SignInError(DamageScoreError):
    """Somebody is not signed in, or may not do what was asked."""


class StudyError(DamageScoreError):
    """Study data cannot answer what was asked of them."""


class TrainingError(DamageScoreError):
    """A graded library, a scale of grades or an exercise is not usable as given."""


class UsageError(DamageScoreError):
    """A command or an option was given wrongly."""
