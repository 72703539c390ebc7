"""JSON that is more than a map: recipes to run, addresses to fetch, and mere depth."""

from __future__ import annotations

import json

from hostile.cases import Case, collection, polygon, texts


def _recipe(command: str, **more: object) -> str:
    return json.dumps({"type": "gdal_streamed_alg", "command_line": command, **more})


_WRITES = _recipe("gdal vector pipeline ! read @SECRET@ ! write --overwrite @VICTIM@")
_READS = _recipe("gdal vector pipeline ! read @SECRET@")
_OUTSIDE = _recipe("gdal vector pipeline ! read @SECRET@ ! write --overwrite @OUTSIDE@.gpkg")
_FETCHES = _recipe("gdal vector pipeline ! read /vsicurl/@URL@/a.geojson")
_LATE = '{"type": "FeatureCollection", "features": [], "note": "' + " " * 5000 + '", '

_CRS = {
    "link": {"type": "link", "properties": {"href": "@URL@/crs.wkt", "type": "ogcwkt"}},
    "proj4 link": {"type": "link", "properties": {"href": "@URL@/p", "type": "proj4"}},
    "url": {"type": "name", "properties": {"name": "@URL@/def/crs"}},
    "opengis url": {
        "type": "name",
        "properties": {"name": "http://www.opengis.net/def/crs/EPSG/0/999999"},
    },
    "import file": {"type": "name", "properties": {"name": "@SECRET@"}},
    "vsicurl": {"type": "name", "properties": {"name": "/vsicurl/@URL@/x.prj"}},
    "grid": {
        "type": "name",
        "properties": {"name": "+proj=longlat +nadgrids=@HOME@/secret.geojson +no_defs"},
    },
    "pipeline": {
        "type": "name",
        "properties": {"name": "+proj=pipeline +step +proj=hgridshift +grids=@URL@/g.tif"},
    },
    "huge": {"type": "name", "properties": {"name": "EPSG:" + "9" * 100_000}},
}


def cases() -> list[Case]:
    """Recipes under every name, linked systems, other languages in JSON, depth."""
    recipes = [
        (name, _WRITES) for name in ("a.json", "a.gpkg", "plain", "a.gdalg.json", "a.shp", "a.zip")
    ]
    recipes += [
        ("reads.geojson", _READS),
        ("reads.gdalg.json", _READS),
        ("outside.geojson", _OUTSIDE),
        ("outside.gdalg.json", _OUTSIDE),
        ("fetches.geojson", _FETCHES),
        ("fetches.json", _FETCHES),
        ("bom.geojson", "\ufeff" + _WRITES),
        ("blank.geojson", " \n" * 4000 + _WRITES),
        ("late.geojson", _LATE + _WRITES[1:]),
        ("escaped.geojson", _WRITES.replace("gdal_streamed", "\\u0067dal_streamed")),
        ("spaced.geojson", json.dumps(json.loads(_WRITES), indent=40)),
        ("convert.geojson", _recipe("gdal vector convert @SECRET@ @VICTIM@ --overwrite")),
        (
            "sql.geojson",
            _recipe(
                "gdal vector pipeline ! read @SECRET@ ! sql --dialect SQLITE "
                "\"select load_extension('@SECRET@')\""
            ),
        ),
        ("raster.geojson", _recipe("gdal raster pipeline ! read @SECRET@ ! write @OUTSIDE@.tif")),
        (
            "absolute.geojson",
            _recipe(
                "gdal vector pipeline ! read @HOME@/secret.geojson",
                relative_paths_relative_to_this_file=False,
            ),
        ),
        ("self.geojson", _recipe("gdal vector pipeline ! read self.geojson")),
    ]
    systems = [(f"crs {name}.geojson", collection(crs=system)) for name, system in _CRS.items()]
    layer = collection()
    feature = json.loads(layer)["features"][0]
    asset = {"data": {"href": "@URL@/a.tif", "type": "image/tiff; application=geotiff"}}
    item = {
        **feature,
        "stac_version": "1.0.0",
        "id": "a",
        "assets": asset,
        "links": [{"rel": "next", "href": "@URL@/next"}],
    }
    esri = {
        "geometryType": "esriGeometryPolygon",
        "spatialReference": {"wkid": 4326},
        "fields": [],
        "features": [],
        "exceededTransferLimit": True,
        "url": "@URL@/query?f=json&resultOffset=0",
    }
    jsonfg = {
        "type": "Feature",
        "conformsTo": ["http://www.opengis.net/spec/json-fg-1/0.2/conf/core"],
        "coordRefSys": "@URL@/crs",
        "place": polygon(),
        "geometry": None,
        "properties": {},
    }
    topo = {
        "type": "Topology",
        "objects": {"a": {"type": "Polygon", "arcs": [[0]]}},
        "arcs": [[[0, 0], [1, 0], [1, 1], [0, 0]]],
        "transform": {"scale": [1e308, 1e308], "translate": [1e308, 0]},
    }
    languages = [
        ("schema.geojson", collection(**{"$schema": "@URL@/s.json", "$ref": "@URL@/r.json"})),
        ("links.geojson", collection(links=[{"rel": "next", "href": "@URL@/next"}])),
        ("next.geojson", collection(next="@URL@/next", numberMatched=9)),
        ("stac.json", json.dumps(item)),
        ("stac.geojson", collection(stac_version="1.0.0", stac_extensions=["@URL@/e.json"])),
        ("esri.json", json.dumps(esri)),
        ("esri url.json", json.dumps({"currentVersion": 10, "layers": [], "url": "@URL@/"})),
        ("jsonfg.json", json.dumps(jsonfg)),
        ("jsonfg.geojson", json.dumps({"type": "FeatureCollection", **jsonfg, "features": []})),
        ("topology.json", json.dumps(topo)),
        ("topology.geojson", json.dumps(topo)),
        (
            "ogcapi.json",
            json.dumps({"links": [{"rel": "data", "href": "@URL@/collections"}], "title": "a"}),
        ),
        ("tilejson.json", json.dumps({"tilejson": "3.0.0", "tiles": ["@URL@/{z}/{x}/{y}.pbf"]})),
        ("elastic.json", json.dumps({"hits": {"hits": []}, "url": "@URL@"})),
        ("planet.json", json.dumps({"_links": {"_self": "@URL@"}, "items": []})),
        ("seq.geojsons", '\x1e{"type":"Feature","geometry":null,"properties":{}}\n' * 3),
        ("seq recipe.geojsonl", _WRITES + "\n" + json.dumps(feature) + "\n"),
        ("wfs.json", json.dumps({"OGRWFSDataSource": {"URL": "@URL@"}})),
        ("proto.geojson", collection(__proto__={"a": 1}, constructor="x")),
        ("wrapped.geojson", json.dumps({"url": "@URL@/a.geojson"})),
        ("url.json", '"@URL@/a.geojson"'),
        ("vsi.json", '"/vsicurl/@URL@/a.geojson"'),
        ("callback.geojson", "loadGeoJSON(" + layer + ")"),
        (
            "names.geojson",
            collection().replace('"n0"', '"\\u001b]0;owned\\u0007\\u202e\\u0000=HYPERLINK(1)"'),
        ),
        (
            "key names.geojson",
            collection().replace('"name"', '"\\u001b[2J\\u0000name", "../../x": 1, "name"'),
        ),
        ("same keys.geojson", '{"type":"FeatureCollection",' + '"features":[],' * 3 + '"x":1}'),
        ("lone surrogate.geojson", collection().replace('"n0"', '"\\ud800"')),
        ("utf16.geojson", collection().encode("utf-16")),
        ("utf32.geojson", collection().encode("utf-32")),
        ("not utf8.geojson", collection().replace("n0", "\xe9\xff").encode("latin-1")),
        ("html.geojson", "<html><script src='@URL@/a.js'></script></html>"),
        ("nul.geojson", b"\0" * 100_000),
        ("random.geojson", bytes((i * 7919 + 13) % 256 for i in range(100_000))),
    ]
    deep = 100_000
    depths = [
        ("deep arrays.geojson", "[" * deep + "]" * deep),
        ("deep objects.geojson", '{"a":' * deep + "1" + "}" * deep),
        ("deep property.geojson", collection().replace('"n0"', "[" * deep + "]" * deep)),
        (
            "deep geometry.geojson",
            collection("@").replace(
                '"@"',
                '{"type":"GeometryCollection","geometries":[' * 20_000
                + json.dumps(polygon())
                + "]}" * 20_000,
            ),
        ),
        (
            "deep coordinates.geojson",
            collection({"type": "Polygon", "coordinates": 0}).replace(
                '"coordinates": 0', '"coordinates": ' + "[" * deep + "]" * deep
            ),
        ),
        ("unclosed.geojson", "[" * 1_000_000),
        ("long number.geojson", collection().replace("-92.33,", "-" + "9" * 200_000 + ",")),
        ("long exponent.geojson", collection().replace("-92.33,", "1e999999999,")),
        ("many dims.geojson", collection().replace("38.95]", "38.95" + ",0" * 50_000 + "]")),
    ]
    chief = Case("recipe a.geojson", "map", lambda at: at.write("a.geojson", _WRITES), chief=True)
    return [
        chief,
        *texts("map", recipes, "recipe "),
        *texts("map", [*systems, *languages, *depths], "json "),
    ]
