"""Photo-like scenes of laminated bearing edges with exact truth."""

from damagescore.scenes.render import Scene, render, write_scene
from damagescore.scenes.spec import (
    BulgeSpec,
    CameraSpec,
    CrackSpec,
    CrumblingSpec,
    DistractorSpec,
    LightSpec,
    MarkSpec,
    SceneSpec,
    SensorSpec,
    StackSpec,
)

__all__ = [
    "BulgeSpec",
    "CameraSpec",
    "CrackSpec",
    "CrumblingSpec",
    "DistractorSpec",
    "LightSpec",
    "MarkSpec",
    "Scene",
    "SceneSpec",
    "SensorSpec",
    "StackSpec",
    "render",
    "write_scene",
]
