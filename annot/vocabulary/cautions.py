"""The cautions that stand wherever a number could be taken for more than it is."""

CAUTION = (
    "For measurement research and quality work. Not a medical device. No number here decides "
    "treatment: the treating physician, the device's own instructions and local rules prevail. "
    "Check the scale against a known object before trusting a millimetre."
)
SCOPE_OF_INTERVAL = (
    "An interval covers scale, placing and the stated geometry. It does not cover a wrong "
    "landmark, another moment of the cycle, or another filling of the heart."
)
