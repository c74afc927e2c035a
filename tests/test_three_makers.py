"""From files as three makers keep them to a decision: two refusals at most, each mended as it says.

All their data are invented.
"""

from dataclasses import dataclass, field

import pandas as pd
import pytest


@dataclass
class Maker:
    """What a maker has, and what is said and done before there is an answer."""

    currency: str
    wind: str
    stamp: str
    reading: str
    curve: str
    bill: str
    mends: list = field(default_factory=list)
    count: int = 1
    cost: float = 0.0
    encoding: str = "utf-8"


AMERICAN = Maker(
    currency="USD",
    wind="Date,Time,Wind Speed (mph),Gust (mph),Wind Dir,Temp (F)",
    stamp="%m/%d/%Y,%I:%M %p",
    reading=",{0:.1f},{1:.1f},225,61",
    curve="Wind (mph),Watts\n6,0\n10,40\n15,130\n20,320\n25,600\n30,620\n",
    bill='Part,Qty,Price each,Total,My hours,Notes\nBlades (cedar),3,$22.50,$67.50,18,carved\n'
    'Tower and guys,1,"$1,120.00","$1,120.00",16,\nShipping,,,$65.00,,\nSales tax,,,$71.25,,\n'
    'Total,,,"$1,323.75",,\n',
    mends=[
        (
            "'Sales tax' is no part but a tax on the lines above",
            'Part,Qty,Price each,Total,My hours,Notes,tax (%)\n'
            'Blades (cedar),3,$22.50,$67.50,18,carved,6\n'
            'Tower and guys,1,"$1,120.00","$1,120.00",16,,6\nShipping,,,$65.00,,,\n'
            'Total,,,"$1,323.75",,,\n',
        )
    ],
    cost=1187.5 * 1.06 + 65,
)  # fmt: skip
GERMAN = Maker(
    currency="EUR",
    wind="Datum;Uhrzeit;Wind;Böe;Windrichtung",
    stamp="%d.%m.%Y;%H:%M",
    reading=";{0:.1f};{1:.1f};225",
    curve="Wind (m/s);Leistung (W)\n3;12,6\n6;100,5\n9;340,2\n12;806,4\n14;900\n",
    bill="Artikel;Menge;Einzelpreis;Gesamtpreis;Arbeitszeit (Std.);Lebensdauer (Jahre);MwSt (%)\n"
    "Flügel;3;18,50 €;55,50 €;12;8;19\nMast;1;1.150,- €;1.150,- €;16;;19\n"
    "Wechselrichter;1;480,- €;480,- €;2;10;19\nSchrauben;120;0,35 €;42,00 €;;;19\n"
    "Zwischensumme;;;1.727,50 €;;;\nVersand;;;39,90 €;;;19\nGesamtbetrag;;;2.103,21 €;;;\n",
    mends=[("state units (the key in a plan", "km/h"), ("there is no scope column", "paste")],
    count=2,
    # Two of everything but the inverter and the carriage.
    cost=1.19 * (2 * (55.5 + 1150 + 42) + 480 + 39.9),
    encoding="cp1252",
)
BRITISH = Maker(
    currency="GBP",
    wind="Time,Wind speed (knots),Max gust (knots),Direction (deg)",
    stamp="%d/%m/%Y %H:%M",
    reading=",{0:.0f},{1:.0f},230",
    curve="Wind (m/s),Output (W)\n3,8\n6,60\n9,200\n12,480\n15,600\n",
    bill="Bits,No off,Price (p),Hours\nBlade blanks,3,1450,9\nMagnets,24,310,\nPostage,,995,\n"
    "VAT 20%,,2358,\nSum,,15143,\n",
    mends=[
        (
            "'VAT 20%' is no part but a tax on the lines above",
            "Bits,No off,Price (p),Hours,VAT (%)\nBlade blanks,3,1450,9,20\nMagnets,24,310,,20\n"
            "Postage,,995,,\nSum,,15143,,\n",
        )
    ],
    cost=1.2 * (3 * 14.5 + 24 * 3.1) + 9.95,
)


@pytest.mark.parametrize("maker", [AMERICAN, GERMAN, BRITISH], ids=lambda maker: maker.currency)
def test_files_as_they_are_lead_to_a_decision(run, tmp_path, maker):
    def keep(name, text):
        (tmp_path / name).write_text(text, encoding=maker.encoding)

    def plan(units=""):
        (tmp_path / "plan.toml").write_text(
            f'title = "mine"\ncurrency = "{maker.currency}"\n[site]\nterrain = "open"\n[wind]\n'
            f'record = "log.csv"\nmeasured_height_m = 10\n{units}\n[[build]]\nname = "mine"\n'
            f'count = {maker.count}\nhub_height_m = 12\nrotor_diameter_m = 1.8\n'
            'curve = "power.csv"\nbill = "parts.csv"\n'
            "[economics]\nprice_per_kwh = 0.3\nlife_years = 15\n",
            encoding="utf-8",
        )  # fmt: skip

    times = pd.date_range("2024-03-01", periods=24 * 366, freq="h").strftime(maker.stamp)
    lines = [
        time + maker.reading.format(speed := 6 + at % 17 + at % 10 / 10, 1.5 * speed)
        for at, time in enumerate(times)
    ]
    text = "\n".join([maker.wind, *lines]) + "\n"
    if ";" in maker.wind:
        # Commas in the numbers, points in the dates.
        text = "\n".join(line[:10] + line[10:].replace(".", ",") for line in text.splitlines())
    keep("log.csv", text)
    keep("power.csv", maker.curve)
    keep("parts.csv", maker.bill)
    plan()
    assert len(maker.mends) <= 2
    for said, mend in maker.mends:
        refused = run("estimate", tmp_path, "--draws", 0)
        assert refused.code == 2
        assert said in refused.err
        if mend == "km/h":
            plan(units=f'units = "{mend}"')
        elif mend == "paste":
            keep("parts.csv", refused.err.partition("\n")[2])
        else:
            keep("parts.csv", mend)
    answer = run("estimate", tmp_path, "--draws", 0, "--json").json
    (build,) = answer["builds"]
    assert build["capital_cost"] == pytest.approx(maker.cost)
    assert build["net_kwh_per_year"] > 0
    assert not [said for said in answer["warnings"] if "parts.csv" in said]
