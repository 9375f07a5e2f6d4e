"""The shape of a bench file's `commands`: what the bench computer does by running programs."""

from hil.files.leaf import ANY_TEXT, DURATION, FLAG, NAME, VALUE
from hil.files.scalar import read_title
from hil.files.shape import Either, Key, Leaf, Many, Names, Record

PATH_PATTERN = "."
ARGUMENT: Leaf[str] = Leaf("one argument, a text", read_title, ANY_TEXT)
ARGUMENTS = Many("an argument list such as `[./outlet, 3, off]`", ARGUMENT)
BY_LABEL = Names("values with their argument lists", ARGUMENTS, read_title, PATH_PATTERN)
RESTARTED = Either((NAME, Many("a list of nodes", NAME, 0)))
COMMAND = Record(
    "a command",
    {
        "values": Key(BY_LABEL, "the values that plans can drive, with the program for each"),
        "text": Key(ARGUMENTS, "the program for any text; `{value}` stands for it"),
        "safe": Key(VALUE, "where it must be when a run ends, however it ends"),
        "rest": Key(VALUE, "where it is put back after a case (the safe value)"),
        "stays": Key(FLAG, "`yes`: it is left as the last command left it"),
        "within": Key(DURATION, "how long the program may run; then it is ended", True),
        "restarts": Key(RESTARTED, "the nodes that this restarts (the signal's own)"),
        "back-within": Key(DURATION, "how long these may take to be heard again (10 s)"),
    },
    choices=(("values", "text"), ("safe", "stays")),
    goes_with={"rest": ("safe",)},
)
COMMANDS = Names("signals with the programs that drive them", COMMAND, str, PATH_PATTERN)
