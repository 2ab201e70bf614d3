"""German sentences about the subject, the horizon, what the slide shows, and photographs of the place."""

from __future__ import annotations

from planner_core.picture.composition import weakest_part_text
from planner_core.picture.parallax import GOOD_PERCENT, PRACTICE_M
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.german.phrases import GERMAN, all_of, measured, quoted, word
from planner_core.words.figures import figure, percent


def _metres(value: float) -> str:
    return f"{value:.1f} m" if value < 10.0 else f"{value:,.0f} m".replace(",", " ")


def _subject(finding: Finding) -> str:
    label = finding.fact("subject")
    return quoted(label) if label else "das Motiv"


@speaks("no-blocks", language=GERMAN)
def _no_blocks(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        "Der Ort ist noch nicht aufgebaut; über das Bild lässt sich nichts sagen.",
        "Füge Blöcke hinzu: worum es im Bild geht, was nah ist, was dahinter steht.",
    )


@speaks("subject-unknown", language=GERMAN)
def _subject_unknown(finding: Finding, names: Names) -> Sentences:
    taken = " Stattdessen gelten die Blöcke mit der Rolle Motiv." if finding.fact("by_role") else ""
    return Sentences(
        f"Kein Block heißt {quoted(finding.fact('wanted'))} wie das Motiv.{taken}",
        otherwise="Nenne einen der Blöcke.",
    )


@speaks("no-subject", language=GERMAN)
def _no_subject(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        "Der Plan sagt nicht, worum es im Bild geht; nur Horizont und Vordergrund werden beurteilt.",
        f"Nenne einen Block als {names.field('composition.subject')}, oder gib einem die Rolle Motiv.",
    )


@speaks("camera-inside", language=GERMAN)
def _camera_inside(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"die Kamera steckt in {quoted(finding.blocks[0])}.",
        "Versetze die Schiene, oder berichtige den Block.",
    )


@speaks("reveal-late", language=GERMAN)
def _reveal_late(finding: Finding, names: Names) -> Sentences:
    fact, subject = finding.fact, _subject(finding)
    if fact("first_frame") is None:
        message = (
            f"{subject} wird nie enthüllt; höchstens {percent(fact('most_shown'))} davon sind zu sehen (Bild "
            f"{fact('best_frame')})."
        )
    else:
        message = (
            f"{subject} ist erst ab Bild {fact('first_frame')} zu sehen, nach {percent(measured(finding))} der "
            f"Bewegung; der Plan verlangt {percent(finding.limit or 0.0)}, Bild {fact('due_frame')}."
        )
    message += f" Davor steht {all_of(fact('behind'))}." if fact("behind") else ""
    return Sentences(
        message,
        otherwise="Beginne die Bewegung weiter vorn, oder lass den Plan später enthüllen.",
    )


@speaks("reveal-early", language=GERMAN)
def _reveal_early(finding: Finding, names: Names) -> Sentences:
    shown = percent(measured(finding))
    return Sentences(
        f"{shown} von {_subject(finding)} sind von Anfang an zu sehen; zu enthüllen ist nichts.",
        otherwise="Beginne, wo etwas davor steht oder wo es außerhalb des Bildes liegt.",
    )


@speaks("subject-lost", language=GERMAN)
def _subject_lost(finding: Finding, names: Names) -> Sentences:
    edge = finding.fact("edge")
    if finding.fact("leaves"):
        gone = "verlässt das Bild" + (f" am {word(edge)} Rand" if edge else "")
    else:
        gone = "ist außerhalb des Bildes" + (
            f", jenseits vom {word(edge)} Rand" if edge else ", hinter der Kamera"
        )
    return Sentences(
        f"{_subject(finding)} {gone} ({percent(measured(finding))} außerhalb).",
        otherwise="Drehe das Objektiv mit, oder verkürze die Bewegung; „Bild anpassen“ versucht mehr.",
    )


@speaks("subject-cut", language=GERMAN)
def _subject_cut(finding: Finding, names: Names) -> Sentences:
    edge, outside = word(finding.fact("edge")), percent(measured(finding))
    return Sentences(
        f"{_subject(finding)} wird vom {edge} Rand angeschnitten ({outside} außerhalb).",
        otherwise="Eine kürzere Brennweite oder mehr Abstand nimmt es auf; „Bild anpassen“ versucht mehr.",
    )


@speaks("subject-hidden", language=GERMAN)
def _subject_hidden(finding: Finding, names: Names) -> Sentences:
    by = finding.fact("by")
    what = "die Schiene" if finding.fact("rail") else "das Stativ"
    hidden = "verdeckt" if finding.fact("barely") else "teilweise verdeckt"
    behind = f" von {all_of(by)}" if by else ""
    advice = f"Trage {what} zur Seite, bis {all_of(by) or 'es'} frei davon steht."
    return Sentences(
        f"{_subject(finding)} ist{behind} {hidden} (höchstens {percent(measured(finding))}).",
        otherwise=advice if finding.level != "note" else "",
    )


@speaks("subject-large", language=GERMAN)
def _subject_large(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"{_subject(finding)} ist größer als das Bild, bis zu {measured(finding):.1f}-mal; seine Ränder werden "
        "nicht beurteilt.",
        "Geh weiter weg oder nimm eine kürzere Brennweite, wenn es ganz zu sehen sein soll.",
    )


@speaks("weak-frame", language=GERMAN)
def _weak_frame(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"ein schwaches Bild, am schwächsten Bild {finding.fact('worst_frame')} ({measured(finding) * 100:.0f} "
        f"von 100): {weakest_part_text(finding.fact('part'))}.",
        otherwise="Gestalte diesen Teil der Bewegung anders, oder lass ihn weg.",
    )


@speaks("subject-merging", language=GERMAN)
def _subject_merging(finding: Finding, names: Names) -> Sentences:
    what = "die Schiene" if finding.fact("rail") else "das Stativ"
    return Sentences(
        f"die Umrisse von {_subject(finding)} und {quoted(finding.fact('other'))} laufen ineinander; sie wirken "
        "wie eines.",
        otherwise=f"Trage {what} ein wenig zur Seite, bis sie getrennt stehen oder sich klar überdecken.",
    )


@speaks("horizon-middle", language=GERMAN)
def _horizon_middle(finding: Finding, names: Names) -> Sentences:
    tilt = abs(finding.fact("tilt"))
    return Sentences(
        f"der Horizont läuft durch die Bildmitte ({percent(measured(finding))} der Höhe); weder Himmel noch "
        "Boden führt.",
        otherwise=f"Neige etwa {tilt:.0f}° nach oben für den Himmel, oder nach unten für den Boden."
        if tilt >= 0.5
        else "",
    )


@speaks("foreground-missing", language=GERMAN)
def _foreground_missing(finding: Finding, names: Names) -> Sentences:
    nearest, reach = finding.fact("nearest"), finding.fact("shows_within")
    there = (
        "In der Mitte der Bewegung steht kein Block vor dem Objektiv."
        if nearest is None
        else f"Das Nächste im Bild, {quoted(nearest)}, ist {_metres(finding.fact('nearest_distance'))} entfernt."
    )
    if reach < PRACTICE_M / 2.0:
        advice = (
            f"Selbst {_metres(reach)} Entferntes verschöbe sich nur um {GOOD_PERCENT:.0f} % der Breite: Fahre "
            "weiter, oder lass die Fahrt weg."
        )
    else:
        near = (
            f"etwa {_metres(PRACTICE_M)}"
            if reach < 1.5 * PRACTICE_M
            else f"{PRACTICE_M:g} bis {_metres(reach)}"
        )
        advice = f"Bring etwas {near} vor der Kamera ins Bild, oder lass die Fahrt weg."
    return Sentences(
        f"Die Fahrt von {finding.fact('travel'):.2f} m ist kaum zu sehen: Nahes und Fernes verschieben sich um "
        f"{measured(finding):.1f} % der Bildbreite. {there}",
        advice,
    )


@speaks("background-static", language=GERMAN)
def _background_static(finding: Finding, names: Names) -> Sentences:
    fact, shifted = finding.fact, measured(finding)
    moves = figure(shifted, 2) if shifted >= 0.01 else "unter 0.01"
    what = quoted(fact("block")) if fact("block") else "der Horizont"
    shift = f"{what} verschiebt sich über den ganzen Clip um {moves} % der Bildbreite"
    beyond = _metres(fact("still_beyond"))
    message = (
        f"Jenseits von {beyond} trägt die Fahrt nichts bei, nur Schwenk und Neigung bewegen das Bild: {shift}."
        if fact("turns")
        else f"Alles jenseits von {beyond} wirkt still, während die Kamera fährt: {shift}."
    )
    if fact("foreground"):
        return Sentences(message, "So soll es mit einem Vordergrund davor sein.")
    return Sentences(
        message,
        "" if fact("turns") else "Bewege das Bild durch Schwenk oder Neigung, oder stelle etwas Nahes davor.",
    )


@speaks("skyline-ends", language=GERMAN)
def _skyline_ends(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"das {'linke' if fact('side') == 'left' else 'rechte'} Ende von {quoted(fact('block'))} "
        f"liegt bei {fact('bearing'):.1f}° im Bild und ist noch {figure(measured(finding), 2)}° höher als das "
        "dahinter.",
        "Geht der Horizont dort weiter, dann füge Richtungen hinzu, bis er das Bild verlässt; so sieht man Sonne "
        "und Mond daneben.",
    )


@speaks("ground-ends", language=GERMAN)
def _ground_ends(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"{quoted(fact('block'))} endet im Bild, {_metres(fact('distance'))} entfernt, und "
        f"{percent(fact('share'))} des Bildes sind dahinter blanker Boden.",
        "Ist es offenes Wasser, dann lass es bis zum Horizont reichen; sonst setze das andere Ufer dorthin."
        if fact("role") == "water"
        else "Mach es größer, oder setze dorthin, was wirklich folgt.",
    )


@speaks("photo-differs", language=GERMAN)
def _photo_differs(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"Der Plan hat {quoted(fact('block'))} {measured(finding):.1f}° weiter "
        f"{'rechts' if fact('right') else 'links'} als das Foto {fact('photo')} ({fact('off_px'):.0f} px darin).",
        "Versetze den Block, bis er seinen Punkt trifft, oder löse das Foto neu, wenn sich seine Punkte geändert "
        "haben.",
    )


@speaks("photo-pin-lost", language=GERMAN)
def _photo_pin_lost(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    why = (
        f"nennt {quoted(fact('block'))}, das kein Block mehr ist"
        if fact("block")
        else f"liegt auf {word(fact('disc'))}, und das Foto hat keine Uhrzeit"
    )
    return Sentences(
        f"Punkt {fact('number')} des Fotos {fact('photo')} {why}.",
        "Setze den Punkt auf etwas anderes, oder nimm ihn heraus.",
    )
