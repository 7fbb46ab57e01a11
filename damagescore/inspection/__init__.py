"""The inspection: its record, its changes, its assessment and its signature."""

from damagescore.inspection.assessing import assess_inspection, assessment_of
from damagescore.inspection.circumference import circumference_of
from damagescore.inspection.edits import (
    add_finding,
    add_photo,
    change_finding,
    confirm_all,
    confirm_finding,
    reject_finding,
    remove_photo,
    replace_measurement,
    retake_photo,
    set_part,
    set_task,
    state_of,
)
from damagescore.inspection.hand import add_hand_measurement, remove_hand_measurement
from damagescore.inspection.layer_edits import change_layers
from damagescore.inspection.lifecycle import (
    new_inspection,
    sign_inspection,
    suggested_dispositions,
    supersede,
)
from damagescore.inspection.link_edits import join_link, leave_apart
from damagescore.inspection.link_notes import gap_text, links_in, open_links, words_of_link
from damagescore.inspection.observe import n_proposed, observations_of
from damagescore.inspection.plain import (
    content_sha256,
    inspection_from_dict,
    inspection_to_dict,
)
from damagescore.inspection.record import (
    Disposition,
    Edit,
    HandMeasurement,
    Inspection,
    Part,
    PhotoEntry,
    Review,
    ReviewState,
    Signature,
    Task,
)
from damagescore.inspection.rulers import add_ruler, remove_ruler
from damagescore.inspection.together import (
    Clash,
    clash_of,
    edits_of_others,
    words_of_edit,
    words_of_news,
)
from damagescore.inspection.undoing import last_redoable, last_undoable, redo, undo

__all__ = [
    "Clash",
    "Disposition",
    "Edit",
    "HandMeasurement",
    "Inspection",
    "Part",
    "PhotoEntry",
    "Review",
    "ReviewState",
    "Signature",
    "Task",
    "add_finding",
    "add_hand_measurement",
    "add_photo",
    "add_ruler",
    "assess_inspection",
    "assessment_of",
    "change_finding",
    "change_layers",
    "circumference_of",
    "clash_of",
    "confirm_all",
    "confirm_finding",
    "content_sha256",
    "edits_of_others",
    "gap_text",
    "inspection_from_dict",
    "inspection_to_dict",
    "join_link",
    "last_redoable",
    "last_undoable",
    "leave_apart",
    "links_in",
    "n_proposed",
    "new_inspection",
    "observations_of",
    "open_links",
    "redo",
    "reject_finding",
    "remove_hand_measurement",
    "remove_photo",
    "remove_ruler",
    "replace_measurement",
    "retake_photo",
    "set_part",
    "set_task",
    "sign_inspection",
    "state_of",
    "suggested_dispositions",
    "supersede",
    "undo",
    "words_of_edit",
    "words_of_link",
    "words_of_news",
]
