"""Good small files of every format that is read."""

from __future__ import annotations

import hashlib
import io
import json
import sqlite3
import struct
import zipfile
from contextlib import closing
from functools import reduce
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas as gpd
import shapely
import xlsxwriter
from tasklogs import record, template

SECONDS = range(12)


def csv_log() -> bytes:
    lines = ["lon,lat,time,speed (km/h),work,width (ft),sections,rate (lb/ac),machine"]
    lines += [
        f"-93.5,{40 + s * 2e-5:.7f},2026-04-14T10:00:{s:02d}Z,8.6,{s % 2},20,1{s % 2}0,150.5,A"
        for s in SECONDS
    ]
    return "\n".join(lines).encode()


def semicolon_log() -> bytes:
    lines = ["field;part;date;time;x;y;dist (m)"]
    lines += [f"1;2;14.04.2026;10:00:{s:02d};455000,{s};4420000,5;0,4" for s in SECONDS]
    return "\r\n".join(lines).encode("latin-1")


def long_log() -> bytes:
    """A record for each section of a fix."""
    lines = ["Time of day,Longitude,Latitude,Section,State,flow 18-46-0 (lb/s),moved (in)"]
    lines += [
        f"10:00:{s:02d},-93.5,{40 + s * 2e-5:.7f},{k},{'on' if k else 'off'},1.5,88"
        for s in SECONDS
        for k in (1, 2)
    ]
    return "\n".join(lines).encode("utf-16")


def elapsed_log() -> bytes:
    """Seconds since the start, as combines and old monitors log."""
    lines = ["long\tlat\tmass\ttime\tseconds\tdist\trow1\trow2\theading"]
    lines += [f"-93.5\t{40 + s * 2e-5:.7f}\t16.5\t{3 * s}\t3\t116\t1\t{s % 2}\t0" for s in SECONDS]
    return "\n".join(lines).encode()


def gpx_log() -> bytes:
    points = "".join(
        f'<trkpt lat="{40 + s * 2e-5}" lon="-93.5"><ele>200</ele>'
        f"<time>2026-04-14T10:00:{s:02d}Z</time><extensions><speed>2.4</speed></extensions></trkpt>"
        for s in SECONDS
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" '
        f'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    ).encode()


def signed(body: str) -> str:
    """A sentence with its checksum."""
    return f"${body}*{reduce(lambda x, c: x ^ ord(c), body, 0):02X}"


def nmea_log() -> bytes:
    sentences = []
    for s in SECONDS:
        place = f"40{10 + s * 1e-3:09.6f},N,09330.500000,W"
        sentences += [
            signed(f"GNGGA,1000{s:02d}.00,{place},4,12,0.8,200.0,M,-30.0,M,1.0,0001"),
            signed(f"GPRMC,1000{s:02d}.00,A,{place},4.7,0.0,140426,,,R"),
            signed("GPVTG,0.0,T,,M,4.7,N,8.7,K,R"),
            signed(f"GPZDA,1000{s:02d}.00,14,04,2026,00,00"),
        ]
    return "\r\n".join(sentences).encode()


def geojson_log() -> bytes:
    features = ",".join(
        f'{{"type":"Feature","properties":{{"time":"2026-04-14T10:00:{s:02d}Z","work":{s % 2}}},'
        f'"geometry":{{"type":"Point","coordinates":[-93.5,{40 + s * 2e-5:.7f}]}}}}'
        for s in SECONDS
    )
    return f'{{"type":"FeatureCollection","features":[{features}]}}'.encode()


def geojson_boundary() -> bytes:
    ring = "[[-93.5,40],[-93.49,40],[-93.49,40.01],[-93.5,40.01],[-93.5,40]]"
    return (
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"Creek",'
        f'"zone":1}},"geometry":{{"type":"Polygon","coordinates":[{ring}]}}}}]}}'
    ).encode()


def polygons_log() -> bytes:
    features = ",".join(
        f'{{"type":"Feature","properties":{{"rate_lb_ac":150.5,"width_ft":20,"start":"10:00:{s:02d}"}},'
        f'"geometry":{json.dumps(shapely.geometry.mapping(step(s)))}}}'
        for s in SECONDS
    )
    return f'{{"type":"FeatureCollection","features":[{features}]}}'.encode()


def step(s: int) -> shapely.Polygon:
    """The ground of one step of a drill."""
    return shapely.box(-93.5, 40 + s * 2e-5, -93.49993, 40 + (s + 1) * 2e-5)


def farm_map() -> bytes:
    """Neighbouring, overlapping, broken and empty shapes of every kind."""
    shapes = [
        shapely.box(-93.5, 40, -93.495, 40.01),
        shapely.box(-93.496, 40, -93.49, 40.01),
        shapely.from_wkt("POLYGON ((-93.5 40, -93.49 40.01, -93.49 40, -93.5 40.01, -93.5 40))"),
        shapely.MultiPolygon([shapely.box(-93.48, 40, -93.47, 40.01)]),
        shapely.LineString([(-93.5, 40.01), (-93.49, 40.01), (-93.49, 40.02), (-93.5, 40.01)]),
        shapely.Point(-93.495, 40.005),
        shapely.GeometryCollection([shapely.box(-93.49, 40, -93.48, 40.01)]),
    ]
    features = [
        {
            "type": "Feature",
            "properties": {"name": f"part {i % 3}", "zone": i},
            "geometry": shapely.geometry.mapping(shape),
        }
        for i, shape in enumerate(shapes)
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def points() -> gpd.GeoDataFrame:
    return _frame([shapely.Point(-93.5, 40 + s * 2e-5) for s in SECONDS])


def lines() -> gpd.GeoDataFrame:
    ends = [(-93.5 + s * 7e-5, 40.0, 40.001) for s in SECONDS[:4]]
    return _frame([shapely.LineString([(x, a), (x, b)]) for x, a, b in ends])


def polygons() -> gpd.GeoDataFrame:
    return _frame([step(s) for s in SECONDS])


def _frame(shapes: list[shapely.Geometry]) -> gpd.GeoDataFrame:
    numbers = range(len(shapes))
    times = [f"2026-04-14T10:00:{s:02d}Z" for s in numbers]
    columns = {"time": times, "work": [s % 2 for s in numbers], "rate_lb_ac": 150.5}
    columns |= {"width_ft": 20, "name": "Creek"}
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=4326)


def map_files(ending: str) -> list[bytes]:
    """The three kinds of layer in a format."""
    return [_map_file(frame, ending) for frame in (points(), lines(), polygons())]


def _map_file(frame: gpd.GeoDataFrame, ending: str) -> bytes:
    with TemporaryDirectory() as folder:
        file = Path(folder) / f"log.{ending}"
        if ending == "parquet":
            frame.to_parquet(file, compression=None)
        elif ending == "zip":
            frame.to_file(file.with_suffix(".shp"))
            return zipped({part.name: part.read_bytes() for part in sorted(file.parent.iterdir())})
        elif ending == "gpkg":
            frame.to_file(file, SPATIAL_INDEX="NO")
            with closing(sqlite3.connect(file, isolation_level=None)) as base:
                base.execute("PRAGMA page_size = 512")
                base.execute("VACUUM")
        else:
            frame.to_file(file)
        return file.read_bytes()


def kml_logs() -> list[bytes]:
    """Points, lines and polygons with their attributes."""
    return [
        b'<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder>'
        b"<name>log</name>%s</Folder></Document></kml>"
        % b"".join(
            b"<Placemark><name>Creek</name><TimeStamp><when>2026-04-14T10:00:%02dZ</when>"
            b'</TimeStamp><ExtendedData><Data name="work"><value>%d</value></Data></ExtendedData>'
            b"%s</Placemark>" % (s, s % 2, _kml(shape))
            for s, shape in enumerate(frame.geometry)
        )
        for frame in (points(), lines(), polygons())
    ]


def _kml(shape: shapely.Geometry) -> bytes:
    places = " ".join(f"{x:.6f},{y:.6f},0" for x, y in shapely.get_coordinates(shape))
    text = f"<coordinates>{places}</coordinates>"
    if isinstance(shape, shapely.Polygon):
        text = f"<outerBoundaryIs><LinearRing>{text}</LinearRing></outerBoundaryIs>"
    return f"<{shape.geom_type}>{text}</{shape.geom_type}>".encode()


def gml_logs() -> list[bytes]:
    """Points, lines and polygons with their attributes."""
    return [
        b'<?xml version="1.0"?><m:FeatureCollection xmlns:m="http://ogr.maptools.org/" '
        b'xmlns:gml="http://www.opengis.net/gml/3.2">%s</m:FeatureCollection>'
        % b"".join(
            b'<m:featureMember><m:log gml:id="log.%d"><m:shape>%s</m:shape><m:work>%d</m:work>'
            b"<m:time>2026-04-14T10:00:%02dZ</m:time></m:log></m:featureMember>"
            % (s, _gml(shape), s % 2, s)
            for s, shape in enumerate(frame.geometry)
        )
        for frame in (points(), lines(), polygons())
    ]


def _gml(shape: shapely.Geometry) -> bytes:
    places = " ".join(f"{y:.6f} {x:.6f}" for x, y in shapely.get_coordinates(shape))
    list_of = "pos" if isinstance(shape, shapely.Point) else "posList"
    text = f"<gml:{list_of}>{places}</gml:{list_of}>"
    if isinstance(shape, shapely.Polygon):
        text = f"<gml:exterior><gml:LinearRing>{text}</gml:LinearRing></gml:exterior>"
    kind = f"gml:{shape.geom_type}"
    crs = "http://www.opengis.net/def/crs/EPSG/0/4326"
    return f'<{kind} srsName="{crs}">{text}</{kind}>'.encode()


def task_data() -> bytes:
    """A farm, a machine, drawn zones and a log."""
    drawn = '<LSG A="%d">' + '<PNT A="2" C="40.1" D="-92.5"/>' + "%s</LSG>"
    ring = "".join(
        f'<PNT A="2" C="{40.1 + y}" D="{-92.5 + x}"/>' for x, y in ((0.005, 0), (0.005, 0.004))
    )
    parts = "".join(
        f'<DET A="DET-{k}" B="{k}" C="4" D="part {k}" E="{k}" F="2"><DOR A="{k}1"/><DOR A="{k}2"/>'
        f'</DET><DPT A="{k}1" B="0043" C="1500"/><DPT A="{k}2" B="0087" C="{1500 * k - 8250}"/>'
        for k in (4, 5, 6, 7)
    )
    root = f"""<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="4" VersionMinor="3" DataTransferOrigin="2">
<FRM A="FRM1" B="Three Larks Farm"/>
<PDT A="PDT1" B="18-46-0"/><PDT A="PDT2" B="rye"/>
<PFD A="PFD1" C="Creek Forty" D="80000"><PLN A="1">{drawn % (1, ring)}</PLN>
<PLN A="3">{drawn % (1, ring)}</PLN></PFD>
<VPN A="VPN1" B="0" C="0.01" D="1" E="kg/ha"/>
<DVC A="DVC1" B="drill" D="A000000000000001"><DET A="DET-1" B="1" C="1" D="drill" E="0" F="0"/>
<DET A="DET-2" B="2" C="2" E="1" F="1"><DOR A="21"/></DET><DET A="DET-3" B="3" C="3" E="2" F="2"/>
<DET A="DET-8" B="8" C="6" E="3" F="1"><DOR A="22"/><DOR A="23"/></DET>
<DPT A="21" B="0043" C="6000"/><DPT A="22" B="0086" C="4000"/><DPT A="23" B="009D" C="1"/>
<DPD A="24" B="0006" C="1" D="9" E="rate"/>{parts}</DVC>
<TSK A="TSK1" B="Spring" E="PFD1" G="4" H="2" I="1" J="0"><TIM A="2026-04-14T08:00:00" D="4"/>
<TZN A="1" B="low"><PDV A="0006" B="15000" C="PDT1" E="VPN1"/><PLN A="2">{drawn % (1, ring)}</PLN>
</TZN><TZN A="0"><PDV A="0006" B="0" C="PDT1"/></TZN>
<PAN A="PDT1" E="DET-3"><ASP A="2026-04-14T08:00:00" D="4"/></PAN>
<DAN A="A0000000" C="DVC1"/><TLG A="TLG00001" C="1"/></TSK></ISO11783_TaskData>"""
    columns = [
        *((141, "DET-2"), (161, "DET-2"), (7, "DET-3"), (67, "DET-2"), (397, "DET-1")),
        *((42, "DET-3"), (81, "DET-3"), (116, "DET-1"), (2, "DET-3"), (6, "DET-4"), (7, "DET-5")),
    ]
    values = [(0, 1), (1, 0b01010001), (2, 16_000), (3, 6000), (4, 2400), (5, 90_000)]
    values += [(6, 3), (7, 20), (8, 5000), (9, 15_000), (10, 14_000)]
    records = [
        record(s, 0.001, 0.001 + s * 2e-5, values[s % 4 : 4 + s], status=s % 9) for s in SECONDS
    ]
    return zipped(
        {
            "TASKDATA/TASKDATA.XML": root.encode(),
            "TASKDATA/TLG00001.XML": template(columns),
            "TASKDATA/TLG00001.BIN": b"".join(records),
        }
    )


def task_data_grids() -> bytes:
    """Version 3: a grid of codes and a grid of rates, and a log without a receiver's clock."""

    def grid(number: int, more: str) -> str:
        return (
            f'<GRD A="40.1" B="-92.5" C="0.001" D="0.0005" E="3" F="2" G="GRD0000{number}" {more}/>'
        )

    root = f"""<?xml version="1.0"?><ISO11783_TaskData VersionMajor="3" VersionMinor="0">
<PDT A="PDT1" B="18-46-0"/><TSK A="TSK1" B="Spring" G="1" I="1" J="0">
<TZN A="1"><PDV A="0006" B="15000" C="PDT1"/></TZN>
<TZN A="2" B="high"><PDV A="0006" B="20000" C="PDT1"/></TZN>{grid(1, 'I="1"')}</TSK>
<TSK A="TSK2" B="Fall" G="4" J="5"><TZN A="5"><PDV A="0006" B="15000" C="PDT1"/></TZN>
{grid(2, 'I="2" J="5"')}<TLG A="TLG00001"/></TSK></ISO11783_TaskData>"""
    start = b'<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="008D" B="" C="DET-2"/></TIM>'
    return zipped(
        {
            "TASKDATA.XML": root.encode(),
            "GRD00001.BIN": bytes([1, 1, 2, 1, 2, 2]),
            "GRD00002.BIN": struct.pack("<6i", 100, 200, 300, 100, 200, 300),
            "TLG00001.XML": start,
            "TLG00001.BIN": b"".join(
                record(s, 0.001, 0.001 + s * 2e-5, [(0, s % 2)]) for s in SECONDS
            ),
        }
    )


def zipped(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in members.items():
            archive.writestr(zipfile.ZipInfo(name), data)
    return out.getvalue()


def season() -> bytes:
    return b"""farm = "Three Larks Farm"
units = "us"
time_zone = "America/Chicago"
[settings]
skip_min_width = "4 in"
max_gap = "5 s"
[[product]]
name = "18-46-0"
analysis = { N = 18, P2O5 = 46, K2O = 0 }
price = "840 USD/ton"
[[implement]]
name = "drill"
width = "20 ft"
rows = 32
rows_per_tower = 8
sections = [8, 8, 8, 8]
tow = [ { hitch_to_axle = "14 ft", axle_to_pin = "4 ft" } ]
[[field]]
name = "Creek Forty"
boundary = "field.geojson"
[[operation]]
name = "Spring fertilizer"
field = "Creek Forty"
date = 2026-04-14
implement = "drill"
tracks = ["log.csv"]
products = [ { product = "18-46-0", rate = "150 lb/ac" } ]
blockages = "blockages.csv"
"""


def season_amounts() -> bytes:
    """Pounds: a blend, needs, loads, a cart, rows of seed beside fertilizer."""
    return b"""currency = "USD"
units = "metric"
[[product]]
name = "red clover"
purity = 98
germination = 84
hard_seed = 8
seeds_per = "270000 /lb"
bulk_density = "60 lb/bu"
bought = "500 lb"
left = "20 lb"
[[product]]
name = "rye"
purity = 97
germination = 90
rate_min = "40 lb/ac"
rate_max = "90 lb/ac"
[[product]]
name = "meadow"
parts = { "red clover" = 3, rye = 2 }
[[product]]
name = "18-46-0"
[[implement]]
name = "drill"
rows = 32
sections = 4
width = "6 m"
antenna_ahead = "6 ft"
tool_behind = "3 ft"
delay = "1.5 s"
compartments = [ { name = "front", volume = "180 bu" }, { name = "rear", volume = "90 bu" } ]
cost = "140 USD/h"
[[field]]
name = "Creek Forty"
boundary = { file = "farm.geojson", where = { zone = 0 } }
unworkable = { file = "farm.geojson", where = { zone = 2 }, crs = "EPSG:4326" }
zones = { file = "farm.geojson", where = { name = "part 1" }, name_column = "zone" }
setbacks = { file = "farm.geojson", distance = "100 ft", name_column = "name" }
[[operation]]
name = "Seeding"
field = "Creek Forty"
implement = "drill"
tracks = [ { file = "log.csv", crs = "EPSG:26915" } ]
columns = { rate = "rate (lb/ac)" }
products = [ { product = "meadow", pls_rate = "10 lb/ac", compartment = "front" }, "18-46-0" ]
loads = "tickets.csv"
method = "in furrow"
quote = "20 USD/ac"
max_speed = "12 mph"
smooth = false
with_seed = { crop = "corn", spread = "1 in", tolerated_loss = 15, slopes = { "18-46-0" = 1.5 } }
[[operation.blockage]]
start = 2026-04-14T10:00:01Z
end = 2026-04-14T10:00:05Z
rows = "9-16, 20"
[[need]]
field = "Creek Forty"
zone = "4"
N = "60 lb/ac"
P2O5 = "40 lb/ac"
"""


def season_pasture() -> bytes:
    """Seeding behind the herd."""
    return b"""time_zone = "America/Chicago"
[[product]]
name = "red clover"
purity = 85
germination = 75
bulk_density = "60 lb/bu"
[[implement]]
name = "drill"
width = "20 ft"
rows = 32
compartments = [ { name = "front", volume = "7 bu" } ]
[[field]]
name = "part 1"
boundary = { file = "farm.geojson", where = { zone = 3 } }
[paddocks]
file = "farm.geojson"
name_column = "zone"
where = { zone = 0 }
[[paddock]]
name = "0"
forage = "2000 lb/ac"
value = 2
window = [2026-08-20, 2026-09-05]
[[paddock]]
name = "part 1"
growth = "10 lb/ac/day"
utilization = 40
seed = false
[grazing]
start = 2026-08-04
end = 2026-10-30
rest = "35 days"
forage = "1800 lb/ac"
forage_most = "3000 lb/ac"
growth = "20 lb/ac/day"
order = ["part 1", "0"]
[[herd]]
class = "dry cows"
head = 40
weight = "1200 lb"
intake = 2.6
[seeding]
product = "red clover"
implement = "drill"
rate = "10 lb/ac"
rate_min = "9 lb/ac"
rate_max = "12 lb/ac"
on_hand = "420 lb"
opens_after = "1 day"
closes_after = "14 days"
residual = "4 in"
mass_per_height = "250 lb/ac/in"
regrowth_limit = "1500 lb/ac"
first_day = 2026-08-15
hours = "6 h"
from = "07:00"
to = 19:00:00
lost_chance = 25
lost_days = [2026-08-19]
booked = [ { from = 2026-09-02, to = 2026-09-04, for = "oats", hours = "4 h" } ]
load = "150 lb"
withholding = "60 days"
prefer = "overlap"
"""


def season_moves() -> bytes:
    """The same with moves that are decided."""
    move = b'[[move]]\npaddock = "%s"\nenter = 2026-08-%02d\nleave = 2026-08-%02d\n'
    decided = season_pasture().replace(b"start =", b"# ").replace(b"end =", b"# ")
    decided = decided.replace(b"order =", b"# ")
    return decided + move % (b"0", 4, 9) + move % (b"part 1", 9, 15)


def tickets() -> bytes:
    return b"""time,field,event,compartment,product,weight (lb),weighed by,resolution
2026-04-14T09:55:00Z,Creek Forty,filled,front,18-46-0,2160,truck scale 20 lb,
2026-04-14T10:03:47Z,Creek Forty,remaining,front,18-46-0,160,load cell,1 %
11:00,Creek Forty,cleaned out,rear,rye,140,bags,10 lb
"""


def tickets_bare() -> bytes:
    return b"""event;weight;job;product;bin
filled;2,4 t;Seeding;rye;rear
left;12 cwt;;rye;rear
"""


def rain() -> bytes:
    return b"""date,rain (in),remark
2024-08-01,0.45,"storm, hail"
2024-08-02,0,
8/3/2024,T,
2024-08-06,1.2,
"""


def settings_book() -> bytes:
    return (
        "\ufeffdate,product,bulk density [lb/bu],roller,setting,fan,ground speed [mph],"
        "down pressure,rate [lb/ac],target [lb/ac],scatter [%],catches,result,trouble,complete\r\n"
        '2026-04-14,red clover,60,fine,42,"2,100 rpm",5,80 lb,10,10.5,1.2,3,good,"a\nb",yes\r\n'
        "2026-04-15,rye,,coarse,7,,5 km/h,,90 kg/ha,,,,,,\r\n"
        "2026-04-16,oats,32,coa"
    ).encode()


def plan() -> bytes:
    paddocks = [
        {
            "paddock": f"Creek {number}",
            "workable_m2": 4e4,
            "window": window,
            "visits": [{"date": "2026-08-28", "area_m2": 4e4, "seed_kg": 45.0}],
            "graze_from": "2026-10-12",
        }
        for number, window in enumerate(
            [
                {"opens": "2026-08-27", "closes": "2026-09-10"},
                None,
                {
                    "opens": "2026-08-27",
                    "closes": "2026-09-20",
                    "back": "2026-10-01",
                    "spells": [{"first": "2026-08-27", "last": "2026-09-01"}],
                },
            ]
        )
    ]
    seed = {"product": "meadow", "parts": [{"product": "red clover"}, {"product": "rye"}]}
    return json.dumps(
        {"schema": "evenacre/plan/1", "seed": seed, "paddocks": paddocks}, indent=1
    ).encode()


def summary() -> bytes:
    return json.dumps(
        {
            "schema": "evenacre/summary/1",
            "files": ["report.html", "summary.json"],
            "sha256": {"report.html": hashlib.sha256(b"<html>").hexdigest()},
            "account_sha256": "0" * 64,
        }
    ).encode()


def blockages() -> bytes:
    lines = ["start,end,tower"]
    lines += [f"2026-04-14T10:00:0{i}Z,2026-04-14T10:00:0{i + 1}Z,{i % 4 + 1}" for i in range(5)]
    return "\n".join(lines).encode()


def workbook_log() -> bytes:
    """A spreadsheet of two sheets, of which one is the log."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        book.add_worksheet("farm").write_row(0, 0, ["farm", "acres"])
        sheet = book.add_worksheet("log")
        stamp = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        sheet.write_row(0, 0, ["Drill log"])
        sheet.write_row(1, 0, ["Time", "Longitude", "Latitude", "Swath(ft)", "Rate(lb/ac)"])
        for s in SECONDS:
            sheet.write_number(s + 2, 0, 46126.5 + s / 86400, stamp)
            sheet.write_row(s + 2, 1, [-93.5, 40 + s * 2e-5, 20, 110])
    return out.getvalue()


def zipped_logs() -> list[bytes]:
    """Logs in zips, beside other things and in a zip in the zip."""
    aside = {"read me.txt": b"By hand.", "meta.json": b'{"a": 1}', "__MACOSX/._log.csv": b"\0"}
    return [
        zipped(aside | {"LOG.CSV": csv_log()}),
        zipped({"in.zip": zipped(aside | {"a/log.gpx": gpx_log()}), "meta.xml": b"<metadata/>"}),
        zipped({"log.xlsx": workbook_log(), "log.nmea": nmea_log()}),
    ]


LOGS = {
    "log.csv": csv_log(),
    "semicolon.csv": semicolon_log(),
    "long.csv": long_log(),
    "elapsed.csv": elapsed_log(),
    "log.gpx": gpx_log(),
    "log.nmea": nmea_log(),
    "log.geojson": geojson_log(),
    "polygons.geojson": polygons_log(),
}
"""Logs by a name that shows their format."""
