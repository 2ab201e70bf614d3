"""An example for each verb, shown under its help; a test reads every one as the command line would."""

EXAMPLES = {
    "new": (
        'evening.plan.json --at 43.46,-3.79 --on 2027-03-14 --subject "tower 262 160 20" '
        '--foreground "post 250 1.3"'
    ),
    "check": "evening.plan.json",
    "frames": "evening.plan.json -o frames.csv",
    "axes": "evening.plan.json -o axes.csv",
    "fit": "evening.plan.json -o better.plan.json --all",
    "compare": "evening.plan.json --write moves",
    "scout": "evening.plan.json --top 3 --write finds --picture finds.png",
    "preview": "evening.plan.json -o clip.mp4 --look lit --every 4 --size 960x540",
    "readback": "edited.blend -o edited.plan.json",
    "sheet": "evening.plan.json -o sheet.html --ics evening.ics",
    "export": "evening.plan.json -o evening.glb",
    "blocks": "footprints.geojson evening.plan.json -o town.plan.json --within 600",
    "photo": 'view.jpg evening.plan.json -o seen.plan.json --pin "812,640=tower top"',
    "terrain": "N43W004.hgt evening.plan.json -o hills.plan.json",
    "log": "card evening.plan.json -o log.html --plan learned.plan.json",
    "late": "evening.plan.json --now 18:52 --have 75min",
    "evening": "weir.plan.json bridge.plan.json mill.plan.json -o evening.html --ics evening.ics",
    "dates": "evening.plan.json --from 2027-03-01 --to 2027-04-15",
    "doctor": "--json",
}
