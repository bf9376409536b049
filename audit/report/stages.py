"""The stages of seeing in words: what each picture shows, and how an error of it looks."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Stage:
    """One stage that is shown as a picture.

    Parameters
    ----------
    number : int
        In the order of the stages.
    name : str
        As in the picture's file name.
    drawn : str
        What is drawn.
    right : str
        How it looks when the stage did well.
    wrong : str
        How an error that arose here looks.
    """

    number: int
    name: str
    drawn: str
    right: str
    wrong: str

    @property
    def title(self) -> str:
        """As it stands over its picture."""
        return f"{self.number}  {self.name.capitalize()}"


CALIBRATED = Stage(
    1,
    "calibrated",
    "The photo with the light's colour divided out, as every later stage sees it. A site card that "
    "was found is outlined.",
    "White plastic looks white or grey, the cable is sharp, and the card, if one lies there, is outlined.",
    "A colour cast, blur, glare, or no outline round a card that is there: take the photo again.",
)
MATERIALS = Stage(
    2,
    "materials",
    "What each pixel is most likely to be, after the second look along the strands. The darker, the "
    "less sure.",
    "Cores, sheath, grip, terminal and copper keep to their shapes. What lies round them matters less: "
    "a wall named enclosure harms nothing by itself.",
    "Copper named brown, a grip named enclosure, a core with a piece of another name in it.",
)
STRANDS = Stage(
    3,
    "strands",
    "The pieces of cable, core and bare copper that were first followed, with their middle and edges. "
    "The second look sets the ends anew; picture 4 shows the cores as it follows them.",
    "Each core is one strand from the sheath to its terminal, as wide as the core.",
    "A strand where no wire is, one that jumps to another core at a crossing, or none where a wire is.",
)
READINGS = Stage(
    4,
    "readings",
    "What belongs together as one cable: its axis, its cores, and the lines it crosses. The order met "
    "from outside to inside is written below.",
    "Each cable has one axis from outside inwards; the lines lie where wall, grip and sheath's edge are.",
    "A line in a wrong place or none, an axis that begins inside, one cable read as two, a loose core "
    "read as a cable.",
)
RIBBON = Stage(
    5,
    "ribbon",
    "Each cable laid straight and drawn to scale, outside at the left.",
    "The order is that of the photo, and each length looks right beside the others.",
    "The order is right but a length is not: look at the scale, which stands under picture 1.",
)
FINDINGS = Stage(
    6,
    "findings",
    "What follows for each check, numbered with the worst first.",
    "Each state follows from what the pictures before it show.",
    "All pictures before it are right and the state is not: the error arose in weighing it.",
)
CLOSE_UPS = Stage(
    7,
    "flags close up",
    "Each flag's place in the photo and in the stages before it, side by side, by the number it has in "
    "picture 6.",
    "What is flagged is there in the photo, and each panel shows it.",
    "The first panel that shows what the photo does not: that stage.",
)
ALL = (CALIBRATED, MATERIALS, STRANDS, READINGS, RIBBON, FINDINGS, CLOSE_UPS)
