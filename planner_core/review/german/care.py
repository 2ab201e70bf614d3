"""German sentences of the cautions, the sea, and of what moves by itself."""

from __future__ import annotations

from planner_core.light.exposure import shutter_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.german.phrases import GERMAN, limit, measured, quoted, word
from planner_core.review.words.phrases import amount_text
from planner_core.words.figures import figure, percent

_JUMP = {
    "water": "die Wellen auf {block} sind in jedem Bild andere, und das Wasser flimmert",
    "people": "Menschen auf {block} kommen von Bild zu Bild {jump} m weit und springen hinein und hinaus",
    "traffic": "Autos auf {block} kommen von Bild zu Bild {jump} m weit und springen hinein und hinaus",
}
_SMEAR = {
    "water": "das Wasser von {block} wird glatt wie Glas",
    "people": "Menschen auf {block} verwischen über {far} m, und wer hindurchgeht, verschwindet",
    "traffic": "der Verkehr auf {block} verwischt über {far} m, und seine Lichter ziehen Spuren",
}


@speaks("strobing", language=GERMAN)
def _strobing(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    does = _JUMP[fact("kind")].format(block=quoted(fact("block")), jump=figure(fact("jump"), 2))
    count = fact("filter")
    spared = "" if fact("throughout") else ", was den dunkleren Bildern fehlen würde"
    return Sentences(
        f"{does}: Der Verschluss ist von {fact('interval'):g} s nur {shutter_label(fact('shutter'))} offen.",
        f"Damit es fließt, müssten es {figure(fact('enough'), 2)} s sein, ein Fünftel des Intervalls: Das braucht "
        f"{count} Blende{'n' * (count > 1)} ND{spared}.",
    )


@speaks("smearing", language=GERMAN)
def _smearing(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    does = _SMEAR[fact("kind")].format(block=quoted(fact("block")), far=figure(measured(finding), 2))
    return Sentences(
        f"{does}: Belichtet wird bis zu {shutter_label(fact('shutter'))} (Bild {fact('worst_frame')}).",
        _of_smearing(finding),
    )


def _of_smearing(finding: Finding) -> str:
    fact = finding.fact
    sharp = shutter_label(fact("sharp"))
    if fact("kind") == "traffic":
        if fact("smooth"):
            return f"Die Spuren fließen von Bild zu Bild; dazwischen bleiben {percent(fact('gap'))} der Zeit ungesehen."
        return (
            f"{percent(fact('gap'))} der Zeit vergehen ungesehen zwischen den Bildern: Für fließende Spuren belichte das "
            "halbe Intervall oder mehr."
        )
    if fact("kind") == "people":
        return f"Wer gesehen werden soll, muss stillstehen; einen Gang einzufrieren braucht {sharp} oder weniger."
    return f"Gut, wenn du das willst; um Wellen zu behalten, braucht es {sharp} oder weniger."


@speaks("edge-near", language=GERMAN)
def _edge_near(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    onto = " zum Wasser" if fact("water") else ""
    return Sentences(
        f"Der Boden fällt{onto} um {figure(measured(finding), 2)} m ab, keine {fact('distance'):g} m vom Rig, in "
        f"Richtung {fact('bearing'):.0f}°.",
        "Beschwere das Rig, sichere es an etwas, das hält, und halte alle anderen von der Kante fern.",
    )


@speaks("railing-near", language=GERMAN)
def _railing_near(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"{quoted(finding.blocks[0])} steht {measured(finding):.1f} m vom Rig und sieht wie ein Geländer aus.",
        "Binde weder Rig noch Seil daran: Ein Geländer ist zum Anlehnen, nicht um eine stürzende Last zu halten.",
    )


@speaks("carriage-runs", language=GERMAN)
def _carriage_runs(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"Die Schiene steigt um {measured(finding):.1f}°. Fällt der Strom aus, kann der Schlitten mit der Kamera bis "
        f"zu {finding.fact('length'):.2f} m hinunterlaufen.",
        "Setze am unteren Ende einen Anschlag, nimm einen Motor oder ein Getriebe, das stromlos hält, und halte die "
        "Finger von der Schiene.",
    )


@speaks("lightning-season", language=GERMAN)
def _lightning(finding: Finding, names: Names) -> Sentences:
    rail = "einer Schiene und einem Stativ" if finding.fact("on_rail") else "einem Stativ"
    return Sentences(
        f"{word(finding.fact('month'))} ist hier Gewitterzeit, und du stehst neben {rail} aus Metall.",
        "Prüfe die Vorhersage. Beim ersten Donner verlass das Rig und geh in ein Gebäude oder Auto.",
    )


@speaks("night-alone", language=GERMAN)
def _night_alone(finding: Finding, names: Names) -> Sentences:
    until = "bis" if finding.fact("clears") else "ab"
    return Sentences(
        f"es ist {until} {finding.fact('time')} dunkel.",
        "Geh nicht allein. Sag jemandem, wo du bist und wann du zurück bist, und nimm eine zweite Lampe mit.",
    )


@speaks("people-near", language=GERMAN)
def _people_near(finding: Finding, names: Names) -> Sentences:
    away = measured(finding)
    where = f"{away:.0f} m vom Rig" if away >= 0.5 else "direkt neben dem Rig"
    return Sentences(
        f"Menschen gehen {where} vorbei ({quoted(finding.blocks[0])}).",
        "Kennzeichne Stativbeine und Kabel, damit niemand stolpert, und lass Platz zum Vorbeigehen.",
    )


@speaks("lamps-dazzle", language=GERMAN)
def _lamps_dazzle(finding: Finding, names: Names) -> Sentences:
    who = "Boote" if finding.fact("boats") else "Autos"
    return Sentences(
        f"{who} auf {quoted(finding.blocks[0])} können deine Lampe im Dunkeln sehen.",
        "Nimm eine schwache rote Lampe, richte sie auf den Boden und nie auf sie.",
    )


@speaks("nd-sun", language=GERMAN)
def _nd_sun(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"ein Graufilter von {measured(finding):g} Blenden macht die Sonne nicht ungefährlich.",
        "Blicke nie hindurch in die Sonne: Es lässt Infrarot und Ultraviolett durch. Nimm Live-View.",
    )


@speaks("lasers", language=GERMAN)
def _lasers(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"Der Plan erwähnt „{finding.fact('said')}“: Ein Laserstrahl ins Objektiv kann den Sensor sofort zerstören.",
        "Frage, wohin die Strahlen gehen, und decke das Objektiv ab, wenn einer auf die Kamera zukommt.",
    )


@speaks("tide-unknown", language=GERMAN)
def _tide_unknown(finding: Finding, names: Names) -> Sentences:
    covers, field = finding.fact("covers"), names.field("site.tides")
    if covers is None:
        blocks = ", ".join(map(quoted, finding.blocks))
        return Sentences(
            f"{blocks} sollen mit der Tide steigen und fallen, aber der Plan hat keine Gezeitentafel.",
            f"Gib die Hoch- und Niedrigwasser um die Aufnahme in {field} ein.",
        )
    return Sentences(
        f"die Gezeitentafel reicht nur über {covers}; davor und danach bleibt das Wasser auf seiner "
        "letzten Höhe.",
        f"Ergänze die Wasserstände vor und nach der Aufnahme in {field}.",
    )


@speaks("water-reaches", language=GERMAN)
def _water_reaches(finding: Finding, names: Names) -> Sentences:
    fact, clear = finding.fact, measured(finding)
    feet = "dem Boden unter der Schiene" if fact("on_rail") else "den Füßen des Stativs"
    amount = amount_text(float(figure(abs(clear), 2)), "m")
    stands = (
        f"{amount} unter" if clear > 0.0 else f"{amount} über" if clear < 0.0 else "auf gleicher Höhe mit"
    )
    when = f" um {fact('highest_time')}" if fact("highest_time") else ""
    begins = f", und erreicht sie ab {fact('from_time')}" if fact("from_time") else ""
    return Sentences(
        f"Das Wasser steht{when} {stands} {feet}; bei {fact('swell'):g} m Dünung und {fact('margin'):g} m Reserve ist "
        f"das zu nah{begins}.",
        "Stelle höher auf, oder wähle eine andere Tide. Lass ein Rig nie bei steigendem Wasser allein.",
        complete=True,
    )


@speaks("way-cut-off", language=GERMAN)
def _way_cut_off(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    until = f" bis {fact('until_time')}" if fact("until_time") else ", bis nachdem du gehen musst"
    return Sentences(
        f"{quoted(finding.blocks[0])} steht ab {fact('from_time')}{until} unter Wasser: Der Weg läuft bei "
        f"{limit(finding):g} m voll, und die Tide erreicht {measured(finding):.1f} m.",
        "Zurück führt er dann nicht; wähle eine andere Tide oder einen anderen Weg."
        if fact("going_back")
        else "Sei vorher drüben, und bleib, bis er wieder frei ist.",
    )


@speaks("foreground-drowned", language=GERMAN)
def _foreground_drowned(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"{quoted(finding.blocks[0])} steht ab {finding.fact('from_time')} unter Wasser.",
        "Wähle einen Vordergrund, der über Wasser bleibt, oder eine andere Tide.",
    )


@speaks("foreground-dry", language=GERMAN)
def _foreground_dry(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"{quoted(finding.blocks[0])} steht ab {finding.fact('from_time')} auf dem Trockenen.",
        "Rechne dort mit Schlick oder Sand statt Wasser, oder wähle eine andere Tide.",
    )
