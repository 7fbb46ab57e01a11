"""A corrected layer: every finding, share and total of the photo follows."""

from dataclasses import replace

from damagescore.damage.bulge import find_bulges
from damagescore.damage.record import Finding
from damagescore.edge.record import Edge
from damagescore.errors import UsageError
from damagescore.measure import layer_at, remeasure, with_findings
from damagescore.measurement import Measurement
from damagescore.photo.record import Photo


def with_layers(photo: Photo, measurement: Measurement, edge: Edge) -> Measurement:
    """Measure what was found on other layers, without searching again.

    Lines and outlines stay where they are, under their ids, so what an inspector has
    decided about them stays too. Each gets the layer it lies on now, and is measured
    against it. Bulges hang on the layers, so those of a profile view are found anew.

    Parameters
    ----------
    photo : Photo
    measurement : Measurement
        Of this photo; must have a scale and layers.
    edge : Edge
        The corrected layers, for instance from `correct_layer`.

    Raises
    ------
    UsageError
        When the photo was refused, or the layers are those of another photo.
    EdgeError
        When a profile view has no outline against these layers.
    """
    if measurement.edge is None or measurement.scale is None:
        raise UsageError(
            "The photo was refused, so it has no layers to correct.",
            remedy="Give it a scale or take it again.",
        )
    if edge.shape != (photo.height, photo.width):
        raise UsageError(
            f"The layers belong to a photo of {edge.shape[1]} × {edge.shape[0]} px, this one "
            f"has {photo.width} × {photo.height} px.",
            remedy="Correct the layers of this photo.",
        )
    moved = replace(measurement, edge=edge)
    if measurement.view == "profile":
        return with_findings(moved, find_bulges(photo, edge, measurement.scale))
    for finding in measurement.findings:
        moved = _followed(photo, moved, finding)
    return with_findings(moved, moved.findings)


def _followed(photo: Photo, moved: Measurement, finding: Finding) -> Measurement:
    assert moved.edge is not None
    loose = replace(finding, layer=layer_at(finding.points_px, moved.edge))
    kept = tuple(loose if f.id == finding.id else f for f in moved.findings)
    return remeasure(photo, replace(moved, findings=kept), finding.id)
