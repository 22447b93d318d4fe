"""The reaction plan: what a supervisor checks first, in order, for each kind of alert. Common practice, no source."""

from __future__ import annotations

CHECK_FIRST: dict[tuple[str, str], tuple[str, ...]] = {
    ("paste loss", "high"): (
        "Weigh tub and tare again",
        "Residue on kettle and tools: was it weighed?",
        "Clock and temperature of the cook: did it boil?",
        "Put the make-up water in before the paste is used, stir, weigh again",
    ),
    ("paste loss", "low"): (
        "Weigh tub and tare again",
        "Was the paste weighed before the end of the cook?",
        "Was water put in before Wa?",
    ),
    ("cook temperature", "low"): (
        "Stirred contact probe in the core, and which thermometer it was",
        "If truly low: cook on to the target before emptying",
        "Compare the thermometer with a second one",
    ),
    ("cook temperature", "high"): (
        "Water lost in this cook: make it up",
        "Scorch and smell",
        "Cool in shallow trays: there is more heat to lose",
    ),
    ("cooling", "high"): (
        "Hold the paste and every dough it went into",
        "Second probe, and the times",
        "QA decides: baking does not repair it",
    ),
    ("kettle overdrawn", "high"): (
        "The last dough's dose",
        "Use that was not written down",
        "Top up the last dough by the ledger",
    ),
    ("dough temperature", "low"): (
        "Probe again",
        "Water temperature and meter",
        "Flour and paste temperature",
        "Lengthen the proof by 8 to 10 % a degree",
    ),
    ("dough temperature", "high"): (
        "Probe again",
        "Was the paste chilled?",
        "Water temperature and ice",
        "Shorten the proof by 8 to 10 % a degree; watch its height",
    ),
    ("specific volume", "low"): (
        "Volumeter against its block (five minutes)",
        "Dough temperature, proof, mixing energy",
        "Paste loss and make-up water",
        "Yeast lot and dose",
        "Moulder, transfers, humidity",
    ),
    ("specific volume", "high"): (
        "Volumeter against its block (five minutes)",
        "Loaf weight and scale",
        "Dough temperature and proof",
        "Yeast lot and dose",
    ),
    ("volume", "low"): (
        "Volumeter against its block (five minutes)",
        "Dough temperature, proof, mixing energy",
        "Paste loss and make-up water",
    ),
    ("volume", "high"): (
        "Volumeter against its block (five minutes)",
        "Dough temperature and proof",
        "Yeast lot and dose",
    ),
    ("weight", "low"): (
        "Check weight on the loaf scale",
        "Divider setting and piece weight",
        "Net weight: hold since the last good check",
    ),
    ("weight", "high"): (
        "Check weight on the loaf scale",
        "Divider setting and piece weight",
        "Bake loss: core temperature",
    ),
    ("bake loss", "low"): (
        "Core temperature: under-baked bread is held",
        "Oven zones and bake time",
        "Check weight on the loaf scale",
    ),
    ("bake loss", "high"): ("Oven zones and bake time", "Piece weight", "Check weight on the loaf scale"),
    ("within-batch spread", "high"): (
        "Moulder gap",
        "Bench rest and transfers",
        "Proof humidity",
        "Pan set and rack places",
    ),
    ("net weight", "low"): (
        "Scale against a check weight",
        "Divider setting",
        "Hold since the last good check: the law decides, not statistics",
    ),
    ("paste recipe", "high"): ("Hold the dough", "Which tub was it? Read its label", "QA decides"),
    ("allergen", "high"): (
        "Hold the dough",
        "Which tub was it? Read its label",
        "QA decides: the label must say what is in the bread",
    ),
    ("paste age", "high"): ("Hold the dough", "When was the paste cooked, and was it kept cold?", "QA decides"),
    ("gassing power", "low"): (
        "Test once more beside the control yeast",
        "Age and storage of the lot",
        "Keep the lot back where another is in the house",
    ),
    ("share of gas kept", "low"): ("Mixing time and energy", "Flour lot", "Where the test piece was taken"),
    ("proof time", "high"): ("Dough temperature", "Yeast lot and weight", "Proofer temperature"),
    ("proof height", "low"): ("Dough temperature", "Yeast weight and lot", "Proofer temperature and humidity"),
}
PLAIN = ("Was it written down right?", "What changed then: lot, setting, instrument, people?")

# what a characteristic out of its limits asks for, whatever statistics say
HOLDS = frozenset({"cooling", "paste recipe", "allergen", "paste age", "net weight"})


def check_first(characteristic: str, direction: str) -> tuple[str, ...]:
    """First checks for an alert, in order."""
    return CHECK_FIRST.get((characteristic, direction), PLAIN)
