"""Relief scenes: a second path to photos with exact truth, for development only.

The scene generator in `damagescore.scenes` shades an image by its own rules. Code that is
only ever tried on it may come to fit its look. Here every edge is a real height field, cut
with real grooves and pits, stood on a bench under area lights and path traced by Mitsuba 3.
Nothing is shared with `damagescore.scenes`: geometry, textures, damage, light and camera are
written apart, with other models on purpose.

The pieces, in the order in which a photo is made:

- `ranges`: two tables of nuisance ranges that do not overlap, `trial` and `holdout`;
- `plan`: one scene drawn from a table, by seed;
- `layup`, `cracks`, `pits`, `skin`: layers, fractures, crumbled areas and their height field;
- `card`: scale marks as textures on a thin card that touches the rubber's plane;
- `solid`, `lights`, `stage`: meshes, light rigs, and the whole scene for the renderer;
- `view`: the camera, given to the renderer and used for the truth alike;
- `sensor`: from radiance to JPEG;
- `truth`: the JSON that `benchmarks.truth` reads.

`python -m benchmarks.relief trial --out DIR --count N` renders for development,
`... holdout ...` for reporting only: never develop on the holdout photos. It needs
`requirements-scenes.txt`; neither the package nor its usual tests do. With an LLVM library
(version 16 or newer, `DRJIT_LIBLLVM_PATH`) a photo takes a third of the time that it
takes without.

Truth is what the renderer was given: millimetre lines projected through the same camera.
A crack's length is that of the centre line of its opening, at least 0.04 mm wide; a branch
starts on its parent's centre line and never enters a stroke again. A crumbled area is the
outline of the region whose surface is missing.
"""
