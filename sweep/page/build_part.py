"""The build of the picked design: how to start it, how far it is, its parts in space, and the way to take it away."""

from __future__ import annotations

from nicegui import ui

from sweep.page.parts import button, el, link, notice
from sweep.page.routes import address
from sweep.page.shell import off_loop, tell, told
from sweep.service.desk import BuildSummary, Desk, NotThere
from sweep.service.summaries import BUILDING, DONE, NONE

ENDING = ".glb"
#: the scene: size [px], frames a second (it renders for ever), how much of metres a unit is
WIDTH, HEIGHT, FRAMES, SCALE = 320, 236, 10, 9.0
#: where the camera stands, in the scene's units
CAMERA = (3.6, -4.4, 2.6)


class BuildPart:
    """Shows the build of a design and follows it while it is at work."""

    def __init__(self, desk: Desk, run: str) -> None:
        self.desk, self.run = desk, run
        self.design: str | None = None
        self._feasible = True
        self._shown: tuple[object, ...] = ()
        el("h3", "", "Built parts")
        self._place = el("div", "build", data_mark="build-part")
        self._live = el("p", "sr", role="status")
        self._timer = ui.timer(1.0, self._follow, active=False)

    def show(self, design: str, feasible: bool) -> None:
        """Show what there is of a design's build."""
        if design != self.design:
            self.design, self._feasible, self._shown = design, feasible, ()
            self._place.clear()
            self._live.say("")
        self._timer.activate()

    async def _follow(self) -> None:
        design = self.design
        if design is None:
            self._timer.deactivate()
            return
        try:
            found = await off_loop(self.desk.build, self.run, design)
        except NotThere as error:
            found = BuildSummary(design, NONE, 0.0, str(error), None, ())
        if design != self.design:
            return
        if found.state != BUILDING:
            self._timer.deactivate()
        state = (found.state, round(found.share, 3), found.message, found.files)
        if state != self._shown:
            before = self._shown[0] if self._shown else None
            self._shown = state
            self._place.clear()
            with self._place:
                self._fill(found)
            if before == BUILDING and found.state != BUILDING:
                self._live.say(f"The build of {design} is {found.state}.")

    def _fill(self, found: BuildSummary) -> None:
        if found.state == BUILDING:
            el("p", "", f"Building: {found.message or 'at work'}", role="status")
            with el("div", "ruler", role="progressbar", label="How far the build is", aria_valuemin="0", aria_valuemax="100",
                    aria_valuenow=str(round(100 * found.share))):  # fmt: skip
                el("i").style(f"width:{100 * found.share:.0f}%")
            return
        if found.state == DONE:
            self._scene(found)
            if found.proof_holds is False:
                notice(found.message or "A proof of the solids does not hold: build.json names it.", "bad")
            elif found.proof_holds:
                el("p", "faint", f"{len(found.files)} files. Every proof of the solids holds.")
            link("Download build", address("build", self.run, f"{found.design}.zip"), classes="b main wide", download="",
                 data_mark="download")  # fmt: skip
            return
        if found.state != NONE:
            notice(found.message or "The build failed without a word.", "bad", mark="build-failed")
        else:
            el("p", "faint", "Not built yet. A build makes solids, print files, a drawing and lists: a minute or two of work.")
        start = button("Build again" if found.state != NONE else "Build", self._start, mark="build", classes="main wide")
        if not self._feasible:
            start.attribute("disabled", True)
            el("p", "faint", "It breaks a constraint, so it is not built.")

    def _scene(self, found: BuildSummary) -> None:
        scene = next((file for file in found.files if file.endswith(ENDING)), None)
        if scene is None:
            return
        with el("div", "three", role="img", label="Model of the built parts; drag to turn it"):
            with ui.scene(width=WIDTH, height=HEIGHT, grid=False, background_color="#ffffff", fps=FRAMES,
                          camera=ui.scene.perspective_camera(fov=26)) as view:  # fmt: skip
                view.gltf(address("part", self.run, found.design) + "/" + scene).rotate(1.5708, 0, 0).scale(SCALE)
            view.on("init", js_handler=f"() => wheel.clear({view.id})")
            view.move_camera(*CAMERA, 0, 0, 0, duration=0)

    async def _start(self) -> None:
        if self.design is None:
            return
        await told(self.desk.start_build, self.run, self.design)
        tell("The build has started. It goes on when this page is closed.")
        self._timer.activate()
