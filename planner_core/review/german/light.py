"""German sentences about balance, the clock and exposure."""

from __future__ import annotations

from planner_core.light.exposure import f_number_label, iso_label, shutter_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.german.phrases import GERMAN, stops, word
from planner_core.words.figures import figure, frame_count, percent


@speaks("day-night-balance", language=GERMAN)
def _day_night_balance(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    day, dark, more, less = (fact(name) for name in ("day", "dark", "more", "less"))
    ratio = (
        f"{figure(fact('ratio'), 2)}-mal so viel {word(more)} wie {word(less)}"
        if min(day, dark)
        else f"gar nichts von {word(less)}"
    )
    return Sentences(
        f"Der Clip hat {frame_count(day)} ({fact('day_clip'):.1f} s) Tag und {dark} "
        f"({fact('dark_clip'):.1f} s) Dämmerung und Nacht, {ratio}; ausgewogen wirkt von beidem etwa gleich "
        "viel.",
        otherwise="Ein anderes Datum oder eine kürzere Aufnahme käme dem näher.",
    )


@speaks("move-midpoint", language=GERMAN)
def _move_midpoint(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    done = fact("done")
    return Sentences(
        f"Bei {word(fact('event'))} ({fact('event_time')}) sind {done * 100.0:.0f} % der "
        "Bewegung getan; beiden Teilen des Clips bekommt es, wenn es dann rund 50 % sind.",
        otherwise=f"Eine Pose unterwegs lässt die Bewegung davor {'schneller' if done < 0.5 else 'langsamer'} "
        "werden.",
    )


@speaks("event-missing", language=GERMAN)
def _event_missing(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    what = " und ".join("kein " + word(event) for event in fact("missing"))
    first, last = word(fact("first_phase")), word(fact("last_phase"))
    phases = f"durchweg {first}" if first == last else f"von {first} bis {last}"
    return Sentences(
        f"Auf {fact('latitude'):g}° Breite gibt es am {fact('date')} {what}: Die Sonne steht während der "
        f"Aufnahme zwischen {fact('lowest'):.1f}° und {fact('highest'):.1f}°, {phases}.",
        "Gut, wenn du dieses Licht willst; für einen Wechsel von Tag zu Nacht wähle ein Datum, an dem die Sonne "
        "untergeht.",
    )


@speaks("clock-change", language=GERMAN)
def _clock_change(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    by_h, frame = fact("by"), fact("frame")
    direction = "vor" if by_h > 0.0 else "zurück"
    when = f"vor Bild {frame}" if frame > 1 else "vor dem ersten Bild"
    return Sentences(
        f"Die Uhren gehen {when} um {figure(abs(by_h))} h {direction}: Aus {fact('old_time')} wird "
        f"{fact('new_time')}. In allen Zeiten hier ist das enthalten.",
        "Lass Kamera und Steuerung bis zum Ende auf einer Zeit, und sieh nach, nach welcher Uhr dein Wecker "
        "geht.",
        complete=True,
    )


@speaks("zone-odd", language=GERMAN)
def _zone_odd(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    near = fact("nearest_zone")
    return Sentences(
        f"Nach den Uhren von {fact('zone')} steht die Sonne bei {fact('longitude'):g}° Länge gegen "
        f"{fact('noon')} am höchsten.",
        otherwise=f"Prüfe {names.field('site.longitude_deg')} (Ost ist positiv, West negativ) und "
        f"{names.field('site.timezone')}" + (f"; {near} liegt diesem Ort am nächsten." if near else "."),
    )


@speaks("sign-odd", language=GERMAN)
def _sign_odd(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    plus, minus = ("Nord", "Süd") if fact("coordinate") == "latitude" else ("Ost", "West")
    return Sentences(
        f"{fact('given'):g}° {word(fact('coordinate'))} liegt weit weg von {fact('zone')}; "
        f"{-fact('given'):g}° läge darin.",
        otherwise=f"Prüfe {names.field(fact('field'))} ({plus} ist positiv, {minus} negativ) und "
        f"{names.field('site.timezone')}.",
    )


# ---------------------------------------------------------------- exposure


def _settings(finding: Finding) -> str:
    fact = finding.fact
    behind = f" hinter {fact('nd'):g} Blenden ND" if fact("nd") else ""
    exposed = f_number_label(fact("f_number")), shutter_label(fact("shutter")), iso_label(fact("iso"))
    return ", ".join(exposed) + behind


@speaks("exposure-short", language=GERMAN)
def _exposure_short(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    head = f"bis zu {stops(fact('missing'))} dunkler als gewollt (Bild {fact('worst_frame')}), "
    if fact("cause") == "interval":
        room_s = fact("room")
        leaves = (
            f"{shutter_label(room_s)} zum Belichten" if room_s is not None else "keine Zeit zum Belichten"
        )
        return Sentences(
            f"{head}weil das Intervall von {fact('interval'):g} s {leaves} lässt, wo "
            f"{shutter_label(fact('wanted'))} gebraucht werden.",
            otherwise="Bewege von Bild zu Bild weniger, oder belichte kürzer mit mehr ISO oder offenerer Blende.",
        )
    lamps = names.aside("exposure.artificial_ev100")
    fix = f"Hat der Ort Lampen, dann gib ihr Licht an{lamps}." if fact("lamps_unknown") else ""
    return Sentences(f"{head}mit allem, was der Plan erlaubt: {_settings(finding)}.", fix, _together(finding))


def _together(finding: Finding) -> str:
    fact = finding.fact
    longest = fact("longest_shutter")
    longer = f" ({longest:g} s brauchen ein längeres Intervall)" if fact("longest_needs_interval") else ""
    offers = [
        (fact("nd_gain"), "ohne das ND"),
        (fact("iso_gain"), f"bis {iso_label(fact('highest_iso'))}"),
        (fact("aperture_gain"), f"bis {f_number_label(fact('widest_f_number'))}"),
        (fact("shutter_gain"), f"bis {shutter_label(longest)}{longer}"),
    ]
    useful = ", ".join(f"{gain:.1f} {setting}" for gain, setting in offers if gain > 0.0) or "keine"
    rest = (
        "zusammen reichen sie"
        if fact("reach") >= fact("missing")
        else f"zusammen {fact('reach'):.1f}; der Ort braucht also eigenes Licht, oder der Clip endet früher"
    )
    return f"Zu gewinnende Blenden: {useful}; {rest}."


@speaks("exposure-long", language=GERMAN)
def _exposure_long(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    size = f"{fact('filter')} Blende{'n' * (fact('filter') > 1)} ND"
    shortfall = fact("shortfall")
    rest = (
        "."
        if shortfall is None
        else f"; dem dunkelsten Bild fehlen dann {stops(shortfall)}: Nimm das Filter unterwegs ab, oder nimm Tag "
        "und Nacht als zwei Clips auf."
    )
    return Sentences(
        f"bis zu {stops(fact('over'))} heller als gewollt (Bild {fact('worst_frame')}), mit dem "
        f"wenigsten Licht, das der Plan erlaubt: {_settings(finding)}.",
        otherwise=f"Dafür braucht es {size}{rest}",
    )


@speaks("ramp-steep", language=GERMAN)
def _ramp_steep(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"die Belichtung ändert sich von Bild zu Bild um bis zu {fact('step'):.2f} Blenden "
        f"({figure(fact('speed'), 2)} Blenden je Minute bei Bild {fact('worst_frame')}, {fact('time')}), mehr als "
        "die Drittelblende, in der eine Kamera stuft: Die Helligkeit springt.",
        otherwise=f"Dafür bräuchte es ein Intervall von {figure(fact('interval_enough'), 2)} s oder weniger.",
    )


FOLLOWS_LATE = "Die Belichtung folgt dem Licht zu spät, um eine Drittelblende je Bild: Nimm Bilder in kürzerem Abstand auf."


@speaks("highlights-lost", language=GERMAN)
def _highlights_lost(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    headroom = f"{figure(fact('headroom'))} Blenden über mittlerem Grau{names.aside('camera.headroom_stops')}"
    darker = (
        "Weiter herunter geht es nicht: Beginne, wenn weniger Licht da ist."
        if fact("limits_bind")
        else "Drehe das Objektiv weiter von der Sonne weg, oder beginne, wenn sie tiefer steht."
    )
    if fact("lags"):
        darker = FOLLOWS_LATE
    return Sentences(
        f"bis zu {100.0 * fact('share'):.0f} % des Bildes sind weiß ohne Zeichnung (Bild "
        f"{fact('worst_frame')}, {fact('time')}): bis zu {stops(fact('over'))} heller, als der Sensor hält, "
        f"{headroom}.",
        otherwise=darker,
    )


@speaks("shadows-lost", language=GERMAN)
def _shadows_lost(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    held = f"{figure(fact('range'))} Blenden unter Weiß{names.aside('camera.range_stops')}"
    lamps = f"gib die Lampen des Ortes an, falls er welche hat{names.aside('exposure.artificial_ev100')}"
    advice = [
        f"erlaube eine längere Belichtung{names.aside('exposure.shutter_max_s')}",
        f"eine höhere ISO{names.aside('exposure.iso_max')}",
    ] * bool(fact("limits_bind")) + [lamps] * bool(fact("lamps_unknown"))
    told = ", oder ".join(advice)
    brighter = (
        f"{told[:1].upper()}{told[1:]}." if told else "Nimm sie hin, oder wähle Licht, das sie erreicht."
    )
    return Sentences(
        f"bis zu {100.0 * fact('share'):.0f} % des Bildes sind schwarz ohne Zeichnung (Bild "
        f"{fact('worst_frame')}, {fact('time')}): dunkler, als der Sensor hält, {held}.",
        otherwise=FOLLOWS_LATE if fact("lags") else brighter,
    )


@speaks("mains-flicker", language=GERMAN)
def _mains_flicker(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    here = "" if fact("given") else f" hier{names.aside('exposure.mains_hz')}"
    return Sentences(
        f"Lampen an {fact('hz'):g} Hz pulsen{here} {2.0 * fact('hz'):g}-mal je Sekunde, und bei "
        f"{shutter_label(fact('shutter'))} (Bild {fact('worst_frame')}, {fact('time')}) kann ein Bild um "
        f"{figure(finding.value or 0.0, 2)} Blenden heller werden als das nächste; {percent(fact('lamp_share'))} "
        "seines Lichts kommt von Lampen.",
        otherwise=f"Belichte {shutter_label(fact('even'))} oder länger, sobald die Lampen an sind, oder nimm das "
        "Flimmern danach heraus.",
    )
