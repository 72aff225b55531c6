"""What is wrong with a file, in words for whoever wrote it."""

from typing import Any

from annot.errors import InputError

# Faults whose usual wording speaks of a program's types.
PLAIN_WORDS = {
    "extra_forbidden": "there is no such field",
    "missing": "this field is missing",
    "tuple_type": "a list of numbers is needed, such as [row, column]",
    "list_type": "a list is needed",
    "too_long": "more values than asked for",
    "string_too_short": "this text is empty",
    "model_type": "an object in braces is needed",
    "model_attributes_type": "an object in braces is needed",
    "float_type": "a number is needed",
    "int_type": "a whole number is needed",
    "string_type": "a text in quotes is needed",
    "bool_type": "true or false is needed",
}


def words_of(error: Any) -> str:
    """Return what one of pydantic's errors means, beginning in lower case."""
    message = PLAIN_WORDS.get(error["type"], error["msg"]).removeprefix("Value error, ")
    return f"{message[0].lower()}{message[1:]}"


def refusal_of(faults: Any, name: str) -> InputError:
    """Return one sentence for all of pydantic's faults of a JSON file, each with its place."""
    return InputError(f"{name}: {'; '.join(_fault(one) for one in faults.errors())}.")


def _fault(error: Any) -> str:
    # a step with brackets or a dash names a type of ours, not a place in the file
    steps = [str(step) for step in error["loc"] if not set("[-") & set(str(step))]
    return f"{'.'.join(steps) or 'the file'}: {words_of(error)}"
