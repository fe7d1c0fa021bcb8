"""How technicians name moves: their words, by the names of the knowledge's entries.

A saying is a line of slots. ``a|b`` is said by either word, ``(c d)`` are words that may come with it, and ``@look``
stands for a list of :data:`VERBS`. The title and the name of an entry are sayings of it already; whoever finds that a
move is not understood adds what was said here. The words are what people on the line say [practice].
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from isolate.kb.spoken import words

__all__ = [
    "ACCESS", "ALL_BACK", "ASKED", "COMES_WITH", "COMMANDS", "ENDS", "IDLE", "KINDS", "LAST_RAN", "PARTS", "REMARKS",
    "SAME", "SAYINGS", "VERBS", "Way",
]  # fmt: skip

VERBS = {
    "@look": "look|inspect|check|examine|see|view|show",
    "@measure": "measure|check|test|meter|read",
    "@ask": "ask|find|know",
    "@read": "read|check|look|see|find",
    "@new": "replace|change|renew|new|exchange|substitute",
}
"""Lists of verbs that sayings take."""

SAME = {
    "plug": "igniter", "ignitor": "igniter", "sparkplug": "igniter", "cb": "breaker", "cbs": "breaker",
    "cowling": "cowl", "halve": "half", "prop": "propeller", "cable": "lead", "fuelling": "fuelstop",
    "refuelling": "fuelstop", "fueling": "fuelstop", "refueling": "fuelstop", "fuell": "fuelstop",
    "refuell": "fuelstop", "inspection": "inspect", "unplug": "disconnect", "restraint": "restrain",
    "multimeter": "meter", "ohmmeter": "meter", "dmm": "meter", "ohm": "resistance", "logbook": "log",
    "techlog": "log", "boroscope": "borescope", "spring": "springs", "springs": "springs", "ecu": "control",
    "eec": "control", "vapor": "vapour", "voltage": "volt", "amp": "current", "amps": "current", "earth": "ground",
    "bonding": "bond", "sparking": "spark", "loom": "harness", "placard": "notice", "retorque": "retighten",
    "terminating": "terminate", "burned": "burnt", "opened": "open", "apus": "apu", "hours": "hour", "feed": "feed",
    "heard": "hear", "audible": "hear", "cockpit": "flightdeck", "wiring": "wiring", "cooling": "cooling",
    "speed": "speed", "bleed": "bleed", "need": "need", "pilot": "crew", "pilots": "crew", "headcount": "heads",
    "head": "heads", "heads": "heads", "firing": "fire", "lit": "light", "dc": "dc", "rcd": "rcd",
    "reseal": "seal", "deferral": "deferral",
    "megohmmeter": "insulation", "judge": "check", "assess": "check", "evaluate": "check",
}  # fmt: skip
"""Word or stem → the word that it is the same as here."""

IDLE = frozenset(
    words(
        "a an the of to at by it its is was be been are were am i we he she they you me my your our this that "
        "these those for with from as and please now just go going do does doing did have has had having "
        "will would let lets us get gets got make made want need try again still next carefully gently quickly "
        "properly slowly really ok okay engine eng channel chan ch system sys both each all every some any one "
        "bloody damn thanks thank put puts take takes taken took bring come first into onto round around "
        "through under before against between whether if so there theres here also only right about near bad "
        "faulty defective suspected suspect duff worn people team guys guy folks lads person department "
        "chapter whoever owner like another quick perform carry give approved data side suppose maybe "
        "perhaps anything something ill youll shall id im ive should can could may must what which"
    )
)
"""Words that say nothing about which move is meant."""

COMES_WITH = frozenset(words("ignition ign circuit halden orrin aircraft turn how old"))
"""Words that fit every move."""

KINDS = {
    "history": "ask read check find know told tell see look in on up down out over",
    "visual": "look inspect check examine see view in on up down out over back inspecting light torch lamp mirror",
    "functional": "test check in on up down out over hear",
    "measurement": "measure test check meter read in on up down out over",
    "repair": "in on out off up down",
}
"""Kind of a check, or repair → words that may come with any of them."""


@dataclass(frozen=True)
class Way:
    """How an access state is opened and shut.

    ``open``, ``close``: sayings; ``says_open``, ``says_close``: the phrase that is completed, with ``{channel}``.
    """

    open: tuple[str, ...]
    close: tuple[str, ...]
    says_open: str
    says_close: str = ""


_OFF = "off|unhook|disconnect|remove|undo|detach|out|pull|uncouple|unscrew"
_ON = "on|connect|reconnect|refit|back|in|fit|attach|reattach|reinstall|couple|join"
_OPENS = "open|unlatch|lift|raise|unlock|undo|unfasten"
_SHUTS = "close|shut|button|bolt|latch|lower|relatch|fasten|down|back"

ACCESS: dict[str, Way] = {
    "air-on": Way(
        ("air|apu|hose on|bring|connect|start|get|apply|supply|provide|up (start starter source supply unit ground "
         "duct pressure switch in)",),
        ("air|apu|hose off|disconnect|remove|shut|stop|away|down (start starter source supply unit ground duct "
         "pressure switch up)",),
        "Bring up air for the starter", "Shut off the air for the starter",
    ),
    "ground-power-on": Way(
        ("power|gpu|cart|generator on|bring|connect|start|get|apply|supply|provide|up|in (ground electric electrical "
         "external starter start unit supply switch)",),
        ("power|gpu|cart|generator off|disconnect|remove|shut|stop|away|down|out (ground electric electrical "
         "external starter start unit supply switch)",),
        "Bring up ground power for the starter", "Switch off and take away the ground power for the starter",
    ),
    "breakers-pulled": Way(
        ("breaker pull|pop|out|off|trip|open|isolate|tag|kill|safe (supply tag clip collar normal standby switch)",
         "isolate|kill|safe|deenergise ignition (breaker supply)"),
        ("breaker push|in|on|close|restore|back|reset|reinstate|shut|untag (supply tag off normal standby switch)",),
        "Pull and tag the ignition breakers", "Push the ignition breakers in again",
    ),
    "cool-enough": Way(
        ("cool (down off time wait touch until enough leave allow can check feel)",),
        (), "Let the engine cool until it can be touched",
    ),
    "cooling-air-off": Way(
        ("sleeve slide|off|back|undo|disconnect|remove|detach|aft (cooling air lead pipe duct blank)",
         "cooling air off|undo|disconnect|remove|detach (sleeve lead pipe duct blank)"),
        ("sleeve on|connect|reconnect|refit|back|fit|reattach|reinstall|forward|restore (cooling air lead pipe duct)",
         "sleeve slide forward|up|on (cooling air lead)",
         "cooling air on|connect|reconnect|refit|back|fit|reattach|reinstall|restore (sleeve lead pipe duct)"),
        "Slide the cooling-air sleeve of lead {channel} back", "Refit the cooling-air sleeve of lead {channel}",
    ),
    "core-panel-open": Way(
        (f"panel {_OPENS}|off|remove|out (igniter core cowl fastener bag)", f"core cowl {_OPENS} (igniter panel)"),
        (f"panel {_SHUTS}|on|refit|in|fit|up (igniter core cowl fastener)", f"core cowl {_SHUTS} (igniter panel up)"),
        "Open the igniter panel of the core cowl", "Close the igniter panel of the core cowl",
    ),
    "cowl-panels-open": Way(
        (f"cowl|panel|nacelle {_OPENS}|off|remove|up (cowl panel nacelle strut lock)",),
        (f"cowl|panel|nacelle {_SHUTS}|on|refit|fit (cowl panel nacelle strut up)",),
        "Open the cowl panels of the nacelle", "Close the cowl panels of the nacelle",
    ),
    "cowls-open": Way(
        (f"cowl {_OPENS}|up (fan door latch rod lock)",), (f"cowl {_SHUTS} (fan door latch rod up)",),
        "Open the fan cowls", "Close the fan cowls",
    ),
    "drained": Way(
        ("drain (fuel leave allow wait until out down after dry motor motoring)",), (), "Let the engine drain",
    ),
    "dry-motored": Way(("dry motor|crank|motoring (run over done)",), (), "Dry-motor the engine"),
    "fire-cover": Way(
        ("fire cover|bottle|extinguisher|guard|watch (ready standing standby stand up post call)",),
        (), "Call up the fire cover",
    ),
    "fuelling-stopped": Way(
        ("fuelstop|vent|venting|bowser|fueller stop|halt|hold|suspend|away|off|cease (fuelstop vent venting)",),
        ("fuelstop|vent|venting|bowser|fueller resume|restart|allow|continue|on|start|release (fuelstop vent venting "
         "may can)",),
        "Stop fuelling and venting near by", "Release fuelling and venting again",
    ),
    "hazard-zones": Way(
        ("zone|area|danger|hazard mark|clear|up|cordon|cone (zone area danger hazard propeller intake exhaust off)",),
        ("zone|area|danger|hazard release|open|remove|lift|off|away|unmark|in|down|back (zone area danger hazard mark "
         "cone)",),
        "Mark and clear the danger zones", "Release the danger zones",
    ),
    "heads-counted": Way(
        ("heads count|check|clear (outside)", "everybody|everyone count|clear (heads outside)"), (), "Count heads",
    ),
    "input-off": Way(
        (f"input {_OFF} (low voltage volt lv connector exciter igniter supply cap)",
         f"low|lv connector {_OFF} (volt input exciter cap)"),
        (f"input {_ON} (low voltage volt lv connector exciter igniter supply)",
         f"low|lv connector {_ON} (volt input exciter)"),
        "Take the low-voltage input of exciter {channel} off", "Reconnect the low-voltage input of exciter {channel}",
    ),
    "box-input-off": Way(
        (f"input {_OFF} (low voltage volt lv connector exciter box igniter supply cap)",
         f"low|lv connector {_OFF} (volt input exciter box cap)"),
        (f"input {_ON} (low voltage volt lv connector exciter box igniter supply)",
         f"low|lv connector {_ON} (volt input exciter box)"),
        "Take the low-voltage input of the exciter box off", "Reconnect the low-voltage input of the exciter box",
    ),
    "lead-off": Way(
        (f"lead {_OFF} (cap ground)", f"lead igniter {_OFF} (cap end ground)"),
        (f"lead {_ON}", f"lead igniter {_ON} (end)"),
        "Take lead {channel} off at the plug", "Put lead {channel} back on at the plug",
    ),
    "lead-off-exciter": Way(
        (f"lead {_OFF} (cap ground)", f"lead exciter|box {_OFF} (cap end exciter box ground)"),
        (f"lead {_ON}", f"lead exciter|box {_ON} (end exciter box)"),
        "Take lead {channel} off at the exciter", "Put lead {channel} back on at the exciter",
    ),
    "movables-safe": Way(
        ("slat|flap|movable|surface|spoiler safe|secure|tag|lock|deactivate (slat flap movable surface wing)",),
        ("slat|flap|movable|surface|spoiler untag|release|restore|unlock|back|free|reactivate (slat flap movable "
         "surface wing normal)",),
        "Make the wing movables safe and tag them", "Release the wing movables again",
    ),
    "notices": Way(
        ("notice hang|up|post|place|on|in (warning flight deck flightdeck lever in on)",),
        ("notice down|remove|off|away|collect|out (warning flight deck flightdeck lever)",),
        "Hang the warning notices in the flight deck", "Take the warning notices down",
    ),
    "plug-out": Way(
        ("igniter out|remove|pull|unscrew|extract|undo|off|withdraw (blank boss)",),
        ("igniter in|refit|back|reinstall|screw|fit|install|on|replug (boss)",),
        "Take plug {channel} out", "Refit plug {channel}",
    ),
    "prop-clear": Way(
        ("propeller restrain|tie|secure|lock|clear|hold|stop (arc blade fit on)",
         "restrain on|fit|install|attach (propeller arc blade strap)"),
        ("propeller release|free|remove|untie|off|unlock (arc blade restrain)",
         "restrain off|remove|release|away|out|untie|undo|detach (propeller arc blade strap)"),
        "Restrain the propeller, clear its arc", "Release the propeller",
    ),
    "reverser-deactivated": Way(
        ("reverser deactivate|pin|secure|inhibit|lockout|lock|disarm|isolate|off|safe|disable (thrust in)",),
        ("reverser reactivate|unpin|activate|restore|arm|enable|unlock|on|back|unsafe (thrust)",
         "reverser pin out|remove (thrust)"),
        "Deactivate and pin the thrust reverser", "Reactivate the thrust reverser",
    ),
    "reverser-open": Way(
        (f"reverser|half {_OPENS}|up|pump (swing thrust reverser half lock rod up)",),
        (f"reverser|half {_SHUTS} (thrust reverser half rod)",),
        "Open the reverser halves", "Close the reverser halves",
    ),
    "tools-listed": Way(
        ("tool|cap|blank list|write|record|inventory (tool cap blank down up out)",),
        ("tool|cap|blank count|account|back|in|out|tally|check|away|clear (tool cap blank list off out)",),
        "List the tools, caps and blanks", "Count the tools, caps and blanks back in",
    ),
    "wind-checked": Way(
        ("wind read|check|measure|look (open cowl limit gust)",), (), "Read the wind against the limit for open cowls",
    ),
}  # fmt: skip
"""Access state → how it is opened and shut, in words."""

SAYINGS: dict[str, tuple[str, ...]] = {
    # Checks: ask and read.
    "channel-message": ("message (stored name @read)",),
    "command-read": ("command (maintenance page @read)",),
    "crank-speed-read": ("crank|cranking|motoring speed|rpm (reach)",),
    "crank-supply-compare": ("crank better|other (source supply)",),
    "crew-ask": ("@ask crew (select saw what)", "crew see|saw"),
    "deferral-read": ("deferral|deferred|defer @read (lately log)",),
    "finding-told": ("find|finding|found write|written (somebody)",),
    "heard-at-start": ("hear start (snap crew outside)", "hear snap (start crew outside)"),
    "history-read": ("log|history (technical tech maintenance @read look back through ignition)",),
    "light-time-compare": ("compare light (time late)", "light time compare|trend|@read"),
    "light-time-told": ("light later|late|longer (lately day)",),
    "messages-read": ("message @read (stored control fault)", "message stored (@read control fault)",
                      "fault code|message (read stored)"),
    "neither-heard-ask": ("either|neither hear (start snap)",),
    "plug-age-read": ("age|life igniter (how old long hour @read)", "how old|long igniter", "hour igniter (@read)"),
    "radio-noise-ask": ("radio|radios (noise pop tick @ask)",),
    "recorded-start-read": ("record|recorder|recording start (@read)",),
    "same-hands-ask": ("same hand|visit (disturb)",),
    "seat-work-ask": ("igniter|seat disturb (last visit @ask)",),
    "sound-ask": ("@ask outside|sound (stood start)",),
    "starts-by-lane": ("count start lane (fail)", "start lane (fail control)"),
    "vapour-look": ("vapour|mist|smoke (white @ask @look tail pipe)",),
    "wash-or-weather-ask": ("wash|rain|deice (@ask flood weather)",),
    "when-ask": ("when fail (@ask start)",),
    "wind-ask": ("@ask wind (where start)", "wind where|start"),
    # Checks: look and feel.
    "boss-leak-look": ("leak|stain|staining boss|igniter|gas (boss igniter gas @look)",),
    "boss-look": ("boss @look (thread seat igniter)",),
    "box-breaker-look": ("breaker @look (exciter box)",),
    "box-look": ("box|exciter @look (box mount bond)",),
    "breakers-look": ("breaker @look (normal standby)",),
    "common-connector-look": ("common|shared connector (open @look)",),
    "compound-look": ("compound @look (thread igniter)",),
    "cooling-duct-look": ("cooling air|duct|path @look (air path lead)",),
    "duct-pressure-read": ("duct pressure (@read crank)", "air pressure @read (duct)"),
    "exciter-mount-look": ("exciter @look (mount bond)", "mount exciter (@look)"),
    "ferrule-look": ("ferrule|liner @look (boss igniter)",),
    "fuel-flow-look": ("drain @look (fuel start)", "fuel reaching|arrive|flow (@look drain)"),
    "fuel-supply-look": ("fuel supply|quantity|pump|shutoff @look (tank supply)", "fuel quantity|pump|shutoff"),
    "fuel-water-drain": ("fuel sample (water tank filter drain)", "water fuel (@look sample drain test)"),
    "gasket-look": ("gasket|spacer @look (seat igniter)",),
    "ground-power-read": ("ground power|volt @read (crank)",),
    "indication-compare": ("indication|gauge|instrument compare|@look (lane)",),
    "input-connector-look": ("input connector|pin @look (exciter)", "exciter connector @look (input pin)"),
    "insert-look": ("insert @look (thread seat igniter)",),
    "lead-braid-look": ("braid|screen @look (lead)", "feel braid|screen (lead)"),
    "lead-cavity-look": ("water|wet|moisture lead (cavity end igniter @look)", "lead cavity (@look water)"),
    "lead-exciter-end-look": ("lead exciter end (@look)",),
    "lead-nut-feel": ("lead nut feel|@look (tight igniter exciter)",),
    "lead-route-look": ("lead route|routing|clip|chafe|chafing @look", "follow lead (along)"),
    "lead-spring-feel": ("springs press|feel|@look (contact lead)",),
    "lead-terminal-look": ("lead terminal @look (end igniter)", "lead igniter end (@look)"),
    "lead-trace": ("trace lead (hand label)",),
    "levers-as-found": ("lever @look (selector handle crew fire)",
                        "master|selector @look (switch igniter handle lever crew fire)"),
    "nozzles-look": ("nozzle @look (fuel borescope)", "borescope nozzle (fuel)"),
    "pins-look": ("pin @look (grip feed seat)", "pin try|grip (grip feed connector)"),
    "plug-breakout-feel": ("breakout|breakaway igniter (feel torque)",),
    "plug-hole-borescope": ("borescope boss|igniter|hole (@look)",),
    "plug-mark-look": ("mark|marking|reach igniter (@read number)",),
    "plug-part-look": ("part number igniter (@read compare list spacer)", "pn igniter (@read compare list)"),
    "plug-seat-look": ("igniter seat|seated|witness|lock @look (mark)", "witness mark igniter (@look)"),
    "plug-tip-look": ("tip|electrode @look (igniter spark)", "fire end @look (igniter)", "igniter end fire (@look)"),
    "plug-torque-check": ("torque|tight @look (igniter)", "torque|tighten igniter"),
    "plug-well-look": ("well|barrel @look (igniter terminal)", "terminal well (igniter @look)"),
    "start-valve-look": ("start valve (position @look)", "starter valve (position @look)"),
    "standby-read": ("standby (supply @read)",),
    "supply-read": ("supply|bus @read (shared live)",),
    "tailpipe-look": ("tailpipe (@look fuel)", "tail pipe (@look fuel)"),
    "vanes-bleed-read": ("vane|bleed (@read position compare)",),
    # Checks: run and listen.
    "cold-soak-spark": ("cold spark|fire|listen (soak night morning test)", "cold soak (spark fire listen)"),
    "exciter-hot-test": ("hot|warm exciter test|fire|listen|run", "hot|warm spark|fire|listen (test)",
                         "duty time|cycle (whole full fire exciter test)"),
    "exciter-swap-test": ("exciter swap test", "fire exciter swap|over (change)"),
    "lane-test": ("lane test (self run control)",),
    "lead-swap-test": ("lead swap test|see (change over silence)",),
    "outputs-compare": ("output compare|fire (box exciter turn)",),
    "plug-known-good": ("known good igniter (try)", "good igniter (try)"),
    "spark-count": ("count snap|spark|click (rate)", "spark|snap rate (count)"),
    "spark-test": ("listen (spark snap igniter exciter)", "fire (igniter alone exciter)", "spark test (igniter)",
                   "spark check (igniter)", "snap|click test|listen (igniter)",
                   "fire listen (alone snap spark click igniter)"),
    "spark-turning": ("spark|fire|listen dry motor|motoring|crank (turning)", "spark|fire|listen turning"),
    "start-alone": ("start (alone test up)",),
    "wet-motor-flow": ("wet motor|motoring|crank (flow fuel watch)",),
    # Checks: measure.
    "bond-measure": ("bond @measure (exciter structure resistance)",),
    "box-bond-measure": ("bond @measure (exciter box structure resistance)",),
    "box-input-volts": ("volt input|box|supply|exciter (box exciter connector @measure)",),
    "current-draw": ("current|clamp (draw supply @measure watch fire)",),
    "feeder-continuity": ("feed|feeder|supply continuity|resistance (@measure)", "feed|feeder @measure (dead)"),
    "feeder-load": ("load feed|feeder|supply (@measure watch)",),
    "feeder-volts": ("volt feed|feeder|exciter|input|supply (exciter input supply connector load @measure)",),
    "feeder-wiggle": ("wiggle|move|shake harness|feed|feeder (meter harness)",),
    "ground-measure": ("ground @measure (return shared)",),
    "immersion-measure": ("immersion|depth (igniter @measure)", "how deep igniter (sit)", "deep igniter (@measure)"),
    "lead-continuity": ("lead continuity|resistance (@measure end)", "measure lead", "meter lead", "ring lead (out)"),
    "lead-insulation": ("insulation (lead @measure)",),
    "lead-wiggle": ("wiggle|shake|flex lead (meter dead)",),
    "plug-run-down": ("run down igniter (hand)", "screw down igniter (hand)"),
    "selector-volts": ("volt selector (ignition @measure pass)", "volt master (switch selector igniter @measure pass)"),
    "start-lever-volts": ("volt lever|switch (start switch lever master igniter @measure pass)",),
    # Repairs.
    "account-for-piece": ("account piece|missing|tip (missing piece igniter)",),
    "apply-compound": ("apply compound (igniter thread)",),
    "clean-box-bond": ("clean bond|mount|box (mount bond exciter box)",),
    "clean-exciter-bond": ("clean bond|mount|exciter (bond mount exciter)", "tighten mount|bond (exciter)"),
    "clean-ground": ("clean ground",),
    "clean-insert-thread": ("clean insert (thread)",),
    "clean-lead-terminal": ("clean terminal (lead)", "clean lead (terminal)", "@new grommet (lead terminal)"),
    "clean-off-compound": ("clean compound (off igniter insert thread)",),
    "clean-seat": ("clean seat (igniter)",),
    "clear-inhibit": ("clear|remove inhibit (ignition control)",),
    "correct-connections": ("correct|uncross|swap cross connection|lead (cross)",),
    "correct-control-selection": ("correct selection (control)",),
    "dress-boss-thread": ("dress|clean thread|boss (boss thread igniter)",),
    "dry-after-wash": ("dry wash (after ignition part)",),
    "dry-connector": ("dry connector (shared common)",),
    "dry-igniter": ("dry igniter", "dry igniter out|remove"),
    "dry-lead-cavity": ("dry lead (cavity terminal water out)", "dry cavity (lead)"),
    "free-seized-plug": ("free|release igniter (seized stuck @new)", "seized igniter (free @new)"),
    "protect-feeder": ("protect|chafed feed|feeder|harness (repair free chafed)",),
    "purge-wet-igniter": ("dry igniter (place motor)", "dry igniter place (motor)"),
    "reclip-lead": ("clip|reclip lead (back)",),
    "redo-plug-torque": ("retighten|slacken|loosen igniter (torque again)", "torque|tighten igniter",
                         "redo torque (igniter)"),
    "renew-gasket": ("@new gasket (igniter fit)", "fit gasket (igniter @new)"),
    "repair-feeder": ("repair|fix|mend|terminate feed|feeder|harness (wire)",),
    "repair-standby": ("repair|fix|mend standby (supply)",),
    "repair-supply": ("repair|fix|mend supply (shared)",),
    "replace-box-breaker": ("@new breaker (exciter box)",),
    "replace-breaker": ("@new breaker (trip)",),
    "replace-burnt-igniter": ("@new burnt igniter",),
    "replace-connector": ("@new connector (shared common)",),
    "replace-control-unit": ("@new control (unit computer box)",),
    "replace-exciter": ("@new exciter (fit install remove box)", "fit|install exciter (@new)"),
    "replace-exciter-box": ("@new exciter|box (exciter box fit install remove)",),
    "replace-igniter": ("@new igniter (fit install remove)", "fit|install igniter (@new)"),
    "replace-insert": ("@new insert (fit install igniter remove)",),
    "replace-lead": ("@new lead (fit install remove igniter)", "fit|install lead (@new)"),
    "replace-lead-end": ("@new contact|springs|insulator (contact springs insulator lead end)", "@new lead end"),
    "replace-pins": ("@new pin (feed)",),
    "replace-selector": ("@new selector (ignition)", "@new master (switch selector igniter)"),
    "replace-start-lever-switch": ("@new switch (start lever)", "@new lever switch (start)",
                                   "@new master switch (igniter start lever)"),
    "replace-switch": ("@new switch", "@new relay (switch)"),
    "reseat-feeder-connector": ("reseat connector|input|pin (input pin feed exciter connector)",),
    "reseat-lane-connector": ("reseat connector (lane control)", "reseat connector lane|control (control)"),
    "reset-box-breaker": ("reset breaker (exciter box)",),
    "reset-breaker": ("reset breaker",),
    "reset-insert": ("lock|relock|secure|reset insert",),
    "restore-lead-cooling": ("restore|fix|correct|repair cooling (air lead)",),
    "restore-standby": ("restore standby (supply)",),
    "restore-supply": ("restore supply (shared)",),
    "rig-start-lever-switch": ("rig|adjust switch|lever (start lever switch)",),
    "seat-lead-nut": ("tighten|seat|retighten|torque lead (nut)", "tighten|seat|retighten|torque nut (lead)"),
    "set-immersion": ("adjust|correct|out immersion|depth (igniter)",),
    # Ends.
    "deferred": ("defer|mel (operator procedure under own mel)",),
    "done": ("done|finish|complete|ready", "close up"),
    "escalate": ("escalate",),
    "watch": ("watch start (close up)", "close up watch (start)", "close up"),
    "hand-over-air-source": ("hand|pass|send|refer air (over source supply)",),
    "hand-over-airflow": ("hand|pass|send|refer airflow|vane|bleed (over vane bleed)",),
    "hand-over-combustor": ("hand|pass|send|refer combustor|case (over combustor)",),
    "hand-over-electric-supply": ("hand|pass|send|refer power|electric|supply (over power electric supply)",),
    "hand-over-fuel": ("hand|pass|send|refer fuel (over system)",),
    "hand-over-fuel-quality": ("hand|pass|send|refer fuel quality|water|contamination (over)",
                               "hand|pass|send|refer quality (over fuel)"),
    "hand-over-indication": ("hand|pass|send|refer indication|gauge|instrument (over)",),
    "hand-over-nozzles": ("hand|pass|send|refer nozzle (over fuel shop)",),
    "hand-over-procedure": ("hand|pass|send|refer procedure|operation|crew (over flight)",),
    "hand-over-start-valve": ("hand|pass|send|refer valve (over start starter)",),
    "hand-over-starting": ("hand|pass|send|refer starter|starting (over)",),
    "hand-over-wind": ("hand|pass|send|refer wind (over flight operation)",),
    # Besides.
    "inspection": ("independent|second|dual|duplicate|2nd inspect (by somebody else hands eyes pair)",
                   "inspect independently"),
    "swap": ("swap|over|interchange (change exchange place two swap)", "exchange place (two change)"),
}  # fmt: skip
"""Check, repair, end → sayings of it."""

COMMANDS = {
    "hint": ("hint", "give me a hint", "i need a hint", "clue", "tip please"),
    "again": ("again", "take it up again", "from just before", "try again", "take up again", "once more"),
    "look": ("look", "look around", "where am i", "where do i stand", "where are we", "what is open", "whats open",
             "status", "story", "state", "time", "how long so far"),
    "earlier": ("earlier", "earlier trail", "earlier evidence", "earlier answers", "trail", "what was found so far"),
    "moves": ("moves", "list moves", "all moves", "what can i do"),
    "leave": ("leave", "quit", "exit", "bye", "leave the drill", "stop here", "q"),
    "help": ("help", "h", "how does this work"),
}  # fmt: skip
"""What is asked of the drill itself → how it is said, whole."""

PARTS = {
    "igniter": "igniter", "lead": "lead", "exciter": "exciter box", "breaker": "breaker", "feeder": "feeder feed",
    "switch": "switch relay", "wiring": "wiring wire harness", "supply": "supply bus", "control": "control computer",
    "fuel": "fuel nozzle", "starter": "starter", "air": "air duct apu", "valve": "valve", "insert": "insert",
    "airflow": "airflow vane bleed", "indication": "indication gauge instrument", "procedure": "procedure crew",
    "wind": "wind", "power": "power", "seating": "seating seat gasket immersion", "connector": "connector",
}  # fmt: skip
"""Part, as the modes name it → words for it as a suspect."""

ENDS = {"end": "end", "ends": "end", "endings": "end", "repairs": "repair", "checks": "check", "swaps": "swap"}
"""What may stand after "moves" instead of a word of the moves → the kind that is listed."""

ALL_BACK = re.compile(
    r"(?:now |please |i |we )*(?:(?:put|close|shut|button|restore|refit|reconnect|bring) )?"
    r"(?:everything|it all|all of it|all that is open|all|the lot|the rest)(?: (?:goes|up|shut|closed))? ?"
    r"(?:back|up|shut|closed|together|again|in place|as it was)?(?: (?:back|up|together|again|now|please))*"
)
"""Putting back all that is open in one breath."""

LAST_RAN = re.compile(
    r"(?:when|how long)\b(?=.*\b(?:engine|it)\b)(?!.*\b(?:fail|light|start)\w*\b).*\b(?:run|ran|running|shut ?down)\b"
    r"|(?:is|how) (?:the engine|it) (?:still )?(?:hot|warm|cold)\b"
)
"""Asking when the engine ran, which is told with the story."""

REMARKS = re.compile(r"(?:i|we) (?:have |just |also )*(?:noticed|notice|saw|see|observed)\b")
"""What somebody saw and tells."""

ASKED: tuple[tuple[re.Pattern[str], str, tuple[str, ...]], ...] = (
    (
        re.compile(r"(?:do |make |start |go for |carry out |perform |i |we )*(?:a |the |my )?(?:quick |visual )*"
                   r"walk ?a?round(?: (?:inspection|check|look|the engine|the aircraft))*$"),
        "A walk round is many looks. Say what you look at, such as:",
        ("check tailpipe-look", "check fuel-flow-look", "check levers-as-found", "check breakers-look",
         "check box-breaker-look"),
    ),
    (
        re.compile(r"(?:re)?(?:arm|energi[sz]e|enable) (?:the )?(?:\w+ )?(?:ignition|igniter|exciter|channel|plug)"
                   r"|(?:switch |turn )?(?:the )?ignition (?:back )?on\b|(?:switch|turn) on (?:the )?ignition\b"),
        "Ignition is made live by its breakers and fired by a check. Which do you mean?",
        ("close breakers-pulled", "check spark-test", "check start-alone"),
    ),
)  # fmt: skip
"""What is said of many moves or of none by its name: how it is said, what is asked then, and the kinds and names of
moves that may be meant."""
