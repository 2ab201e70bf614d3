"""German sentences about rig and move, card and battery."""

from __future__ import annotations

from planner_core.picture.speed import LEAST_PX, px_text, speed_word
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.german.phrases import GERMAN, limit, measured, quantity, quoted, word
from planner_core.review.words.phrases import amount_text, exact, rate_text
from planner_core.words.figures import figure, frame_count, percent


def _speed_text(px_per_frame: float, frame_widths_s: float) -> str:
    text = px_text(px_per_frame)
    return text if px_per_frame < LEAST_PX else f"{text}, {figure(frame_widths_s, 2)} Bildbreiten je Sekunde"


def _role_text(finding: Finding) -> str:
    role, block = word(finding.fact("role")), finding.fact("block")
    if not block:
        return role
    return f"{role} ({quoted(block)}, {amount_text(finding.fact('distance'), 'm')} entfernt)"


@speaks("axis-range", language=GERMAN)
def _axis_range(finding: Finding, names: Names) -> Sentences:
    fact, unit, value = finding.fact, finding.unit, measured(finding)
    axis, field, pose = word(fact("axis")), fact("field"), fact("pose")
    span = f"Bereichs von {exact(fact('low'), unit)} bis {exact(fact('high'), unit)}"
    if pose is None:
        return Sentences(
            f"Keine Pose gibt {names.field(field)} an; die Achse {axis} ruht also bei {exact(value, unit)}, "
            f"außerhalb ihres {span}.",
            otherwise=f"Gib {names.field(field)} in der ersten Pose an.",
            complete=True,
        )
    direction = "weniger" if value > limit(finding) else "mehr"
    return Sentences(
        f"{names.field(f'move.poses[{pose}].{field}')}: {exact(value, unit)} liegt außerhalb des {span} ({axis}).",
        otherwise=f"Es müssen {exact(limit(finding), unit)} oder {direction} sein.",
        complete=True,
    )


@speaks("rail-slope", language=GERMAN)
def _rail_slope(finding: Finding, names: Names) -> Sentences:
    who = "die meisten Schlitten schaffen" if finding.fact("usual") else "ihr Schlitten schafft"
    return Sentences(
        f"Die Schiene steigt um {measured(finding):g}°, mehr als die {limit(finding):g}°, die {who}.",
        otherwise=f"Lege sie flacher{names.aside('rig.incline_deg')}.",
    )


@speaks("interval-too-short", language=GERMAN)
def _interval(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    if finding.level == "warn":
        return Sentences(
            f"die längste Belichtung, {fact('longest'):g} s{names.aside('exposure.shutter_max_s')}, "
            f"passt nicht ins Intervall von {limit(finding):g} s, das {figure(fact('room'))} s lässt. Beim "
            "berechneten Licht braucht sie kein Bild; bei Wolken vielleicht doch.",
        )
    faster = "" if fact("exposure") is not None else ", oder speichere schneller"
    return Sentences(
        f"das Intervall von {limit(finding):g} s ist für {frame_count(fact('late_frames'))} zu "
        f"kurz; Bild {fact('worst_frame')} braucht {figure(measured(finding))} s ({_time_spent(finding)}).",
        otherwise=f"Bewege von Bild zu Bild weniger{faster}.",
    )


def _time_spent(finding: Finding) -> str:
    fact = finding.fact
    exposure, writing, move, settling = (fact(name) for name in ("exposure", "writing", "move", "settling"))
    parts = [] if exposure is None else [f"Belichten {figure(exposure)} s"]
    parts += [f"Speichern {writing:g} s"] if writing else []
    parts += [] if move is None else [f"Bewegen {figure(move, 2)} s"]
    parts += [f"Beruhigen {settling:g} s"] if settling else []
    return " + ".join(parts)


@speaks("axis-speed", language=GERMAN)
def _axis_speed(finding: Finding, names: Names) -> Sentences:
    fact, axis = finding.fact, word(finding.fact("axis"))
    if fact("drive") == "continuous":
        does = "läuft mit" if fact("of") == "speed" else "beschleunigt oder bremst mit"
        return Sentences(
            f"die Achse {axis} {does} bis zu {rate_text(measured(finding), finding.unit)} (Bild "
            f"{fact('worst_frame')}); ihr Motor schafft {exact(limit(finding), finding.unit)}.",
            otherwise="Bewege weniger, oder gib der Bewegung mehr Ein- und Auslauf.",
        )
    distance = quantity(finding, "distance")
    return Sentences(
        f"die Achse {axis} braucht {figure(measured(finding))} s für "
        f"{amount_text(distance.value, distance.unit)} von Bild {fact('worst_frame')} zum nächsten (höchstens "
        f"{exact(fact('max_speed'), distance.unit)}/s und {exact(fact('max_acceleration'), distance.unit)}/s²); das Intervall "
        f"lässt {figure(limit(finding))} s, ganz ohne Belichtung.",
        otherwise="Bewege weniger, nimm mehr Bilder, oder einen schnelleren Motor.",
    )


@speaks("step-coarse", language=GERMAN)
def _step_coarse(finding: Finding, names: Names) -> Sentences:
    fact, axis = finding.fact, word(finding.fact("axis"))
    unit = "m" if fact("axis") == "slide" else "°"
    skipped = fact("skipped_frames")
    stands = f", und nach {skipped} der Bilder kann sie gar nicht weiter" if skipped else ""
    return Sentences(
        f"Die Achse {axis} geht in Schritten von {amount_text(fact('step'), unit)}, von Bild zu Bild um etwa "
        f"{amount_text(fact('frame_to_frame'), unit)}: Das Bild ruckelt um bis zu {figure(measured(finding), 2)} px "
        f"(Bild {fact('worst_frame')}){stands}.",
        f"Untersetze die Achse auf Schritte von {amount_text(fact('fine_step'), unit)} oder weniger, oder "
        "stabilisiere den Clip danach.",
        complete=True,
    )


@speaks("screen-speed", language=GERMAN)
def _screen_speed(finding: Finding, names: Names) -> Sentences:
    fact, widths = finding.fact, measured(finding)
    speed = _speed_text(fact("speed"), widths)
    if finding.level == "note":
        near = "Bring etwas Nahes ins Bild, bis zu zwei Meter vor dem Objektiv"
        return Sentences(
            f"Das Bild bewegt sich kaum: Am schnellsten ist {_role_text(finding)} mit {speed}, "
            f"{word(speed_word(widths))}.",
            f"{near if fact('slides') else 'Drehe weiter'}, oder nimm weniger Bilder.",
        )
    whole = "Ein Teil der Schiene genügt für dieses Bild." if finding.remedies and fact("whole_rail") else ""
    return Sentences(
        f"zu schnell zum Ansehen: {_role_text(finding)} zieht mit {speed} durchs Bild (Bild "
        f"{fact('worst_frame')}), eine ganze Breite in {figure(1.0 / widths, 2)} s; {1.0 / limit(finding):.0f} s "
        "oder mehr wirken ruhig.",
        fix=whole,
        otherwise=_slower(finding),
    )


def _slower(finding: Finding) -> str:
    fact = finding.fact
    calm = figure(fact("calm"), 2)
    if fact("reduced") == "turn":
        return f"Ruhig wird es bei einer Drehung um etwa {calm}° statt {figure(fact('now'))}°."
    travel = f"{amount_text(float(calm), 'm')} Fahrweg statt {amount_text(fact('now'), 'm')}"
    return f"Ruhig wird es bei etwa {travel}."


@speaks("travel-unused", language=GERMAN)
def _travel_unused(finding: Finding, names: Names) -> Sentences:
    used, length = measured(finding), finding.fact("rail")
    if finding.fact("unused"):
        return Sentences(
            f"Das Rig hat {amount_text(length, 'm')} Schiene, und die Bewegung nutzt sie nicht.",
            "Nimm ohne Schiene auf, oder fahre an etwas vorbei, das höchstens zwei Meter vor dem Objektiv steht.",
        )
    speed = _speed_text(finding.fact("speed"), finding.fact("widths"))
    return Sentences(
        f"Die Bewegung nutzt {amount_text(used, 'm')} von {amount_text(length, 'm')} Schiene ({percent(used / length)}), "
        f"und dadurch bewegt sich nichts im Bild schneller als {speed}.",
        f"Die ganze Schiene gäbe {figure(length / used, 2)}-mal so viel; „Fahrweg anpassen“ findet die Länge.",
    )


@speaks("travel-whole", language=GERMAN)
def _travel_whole(finding: Finding, names: Names) -> Sentences:
    used, length = measured(finding), finding.fact("rail")
    part = "die ganzen" if used > 0.995 * length else f"{percent(used / length)} der"
    return Sentences(
        f"Die Bewegung nutzt {part} {amount_text(length, 'm')} Schiene und fährt an nichts Nahem vorbei. Ein so "
        "langer Fahrweg bringt diesem Bild wenig.",
        "Lege die Schiene neben etwas Nahes, bis zu zwei Meter vor dem Objektiv, und lass „Fahrweg anpassen“ die "
        "Länge wählen.",
    )


@speaks("motion-blur", language=GERMAN)
def _motion_blur(finding: Finding, names: Names) -> Sentences:
    fact, front = finding.fact, finding.fact("foreground_blur")
    near = "" if front is None else f" (den Vordergrund um bis zu {figure(front, 2)} px)"
    return Sentences(
        f"das Rig bewegt sich bei offenem Verschluss und verwischt {_role_text(finding)} um bis zu "
        f"{figure(measured(finding), 2)} px{near} bei {figure(fact('shutter'), 2)} s (Bild {fact('worst_frame')}).",
        otherwise=f"Dafür braucht es höchstens {figure(fact('short_enough'), 2)} s Belichtung, oder ein Rig, das bei "
        "offenem Verschluss ruht.",
    )


@speaks("rail-in-frame", language=GERMAN)
def _rail_in_frame(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"im Bild ist das Rig selbst ({word(fact('part'))}), am meisten in Bild "
        f"{fact('most_frame')} ({amount_text(fact('nearest'), 'm')} voraus), {figure(measured(finding), 2)}° "
        "innerhalb des Randes.",
        otherwise="Setze den Kopf höher, oder lege die Schiene so, dass ihr Ende hinter der Kamera bleibt.",
    )


@speaks("rig-shadow", language=GERMAN)
def _rig_shadow(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"mit der Sonne im Rücken, {finding.fact('sun_altitude'):.1f}° hoch in Bild "
        f"{finding.fact('first_frame')}, liegt der Schatten von Kamera und Rig im Bild am Boden, ab "
        f"{amount_text(measured(finding), 'm')} voraus.",
        otherwise="Nimm den Boden aus dem Bild, stelle das Rig tiefer oder in den Schatten, oder beginne später.",
    )


@speaks("card-space", language=GERMAN)
def _card_space(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    full = fact("full_after")
    count, gigabytes = frame_count(fact("frames")), figure(measured(finding))
    head = f"{count} zu {fact('frame_size'):g} MB füllen {gigabytes} GB"
    if full is not None:
        when = f"nach Bild {full} ({fact('full_time')})" if full else "sofort"
        card = f"die Karte mit {limit(finding):g} GB{names.aside('camera.card_gb')}"
        return Sentences(
            f"{head}; {card} ist {when} voll.", otherwise="Nimm eine größere Karte mit.", complete=True
        )
    if finding.level == "warn":
        return Sentences(
            f"{head}, mehr als eine Karte mit {limit(finding):g} GB fasst.",
            "Nimm zwei Karten mit, oder eine Kamera, die auf beide schreibt, oder mache weniger Bilder.",
        )
    if fact("card") is not None:
        return Sentences(f"{head} der Karte mit {fact('card'):g} GB.", "Nimm sie leer mit.")
    return Sentences(f"{head}.", "Nimm eine leere Karte mit genug Platz mit.")


@speaks("battery-short", language=GERMAN)
def _battery_short(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    count, left = fact("count"), measured(finding) - fact("lasts")
    return Sentences(
        f"Ein Akku reicht für {frame_count(fact('lasts'))}{names.aside('camera.battery_frames')}, bei Kälte für "
        f"weniger: Um {fact('empty_time')} ist er leer, und {left:.0f} Bilder fehlen noch.",
        f"Versorge die Kamera von außen, oder nimm {count} Akkus und einen Griff mit, der "
        f"{'beide' if count == 2 else 'mehr als einen'} fasst: Niemand wechselt einen, ohne die Kamera zu bewegen.",
        complete=True,
    )


@speaks("head-level", language=GERMAN)
def _head_level(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"Die Schiene {'steigt' if fact('slope') > 0.0 else 'fällt'} um {figure(abs(fact('slope')))}°, und der Plan "
        f"rechnet mit einem waagrechten Kopf darauf. Flach aufgeschraubt neigt sich der Horizont um bis zu "
        f"{fact('lean'):.1f}° (Bild {fact('worst_frame')}), und das Objektiv blickt bis zu {fact('nod'):.1f}° zu hoch "
        "oder zu tief.",
        "Setze eine Nivellierplatte oder einen Kugelkopf unter die Schwenkachse, und prüfe mit der Wasserwaage an "
        "beiden Enden der Schiene.",
    )


@speaks("wind-shake", language=GERMAN)
def _wind_shake(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    rail = ", mit einer Stütze unter der Mitte der Schiene" if fact("on_rail") else ""
    return Sentences(
        f"bei {fact('focal_length'):g} mm und Belichtungen bis {fact('shutter'):.3g} s genügt eine "
        f"Brise, das Bild zu verwischen: Ein Schwanken von {3600.0 * fact('sway'):.0f}″ sind "
        f"{figure(measured(finding), 2)} px.",
        f"Stelle tief und im Windschatten auf, beschwere das Stativ{rail}, und lass Gegenlichtblende und alles weg, "
        "was sonst den Wind fängt.",
    )


@speaks("no-reason", language=GERMAN)
def _no_reason(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        "Der Plan sagt nicht, warum sich diese Aufnahme bewegt.",
        f"Schreib es unter {names.field('reason')} auf: was die Bewegung zeigt und ein Standbild nicht. Gibt es "
        "nichts, dann lass die Kamera stehen.",
    )
