"""Files that make a plain reader ask a server: each says where, in one of the ways that GDAL's drivers know."""

from __future__ import annotations

import json
from pathlib import Path
from xml.sax.saxutils import escape

import geopandas as gpd
import numpy as np
import rasterio
from shapely.geometry import box

_HEAD = (
    '<VRTDataset rasterXSize="64" rasterYSize="64"{kind}><SRS>EPSG:32631</SRS>'
    "<GeoTransform>500000, 2, 0, 5000000, 0, -2</GeoTransform>"
)


def _vrt(source: str, *, kind: str = "SimpleSource") -> str:
    return (
        _HEAD.format(kind="")
        + f'<VRTRasterBand dataType="Float32" band="1"><{kind}><SourceFilename relativeToVRT="0">{escape(source)}</SourceFilename>'
        '<SourceBand>1</SourceBand><SourceProperties RasterXSize="64" RasterYSize="64" DataType="Float32" BlockXSize="64" BlockYSize="64"/>'
        '<SrcRect xOff="0" yOff="0" xSize="64" ySize="64"/><DstRect xOff="0" yOff="0" xSize="64" ySize="64"/>'
        f"</{kind}></VRTRasterBand></VRTDataset>"
    )


def _tiles(url: str) -> str:
    return (
        f'<GDAL_WMS><Service name="TMS"><ServerUrl>{url}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service>'
        "<DataWindow><UpperLeftX>-20037508</UpperLeftX><UpperLeftY>20037508</UpperLeftY><LowerRightX>20037508</LowerRightX>"
        "<LowerRightY>-20037508</LowerRightY><TileLevel>3</TileLevel><TileCountX>1</TileCountX><TileCountY>1</TileCountY>"
        "<YOrigin>top</YOrigin></DataWindow><Projection>EPSG:3857</Projection><BlockSizeX>256</BlockSizeX><BlockSizeY>256</BlockSizeY>"
        "<BandsCount>1</BandsCount><DataType>Float32</DataType></GDAL_WMS>"
    )


def grids(folder: Path, url: str) -> list[Path]:
    """Write the baits that call themselves grids.

    Parameters
    ----------
    folder : Path
    url : str
        A server's address without a slash at its end.
    """
    curl = f"/vsicurl/{url}/a.tif"
    texts = {
        "curl.vrt": _vrt(curl),
        "address.vrt": _vrt(f"{url}/a.tif"),
        "complex.vrt": _vrt(curl, kind="ComplexSource"),
        "streamed.vrt": _vrt(f"/vsicurl_streaming/{url}/a.tif"),
        "zipped.vrt": _vrt(f"/vsizip//vsicurl/{url}/a.zip/a.tif"),
        "zipped_braces.vrt": _vrt(f"/vsizip/{{/vsicurl/{url}/a.zip}}/a.tif"),
        "packed.vrt": _vrt(f"/vsigzip//vsicurl/{url}/a.tif.gz"),
        "part.vrt": _vrt(f"/vsisubfile/0_100,/vsicurl/{url}/a.tif"),
        "bucket.vrt": _vrt("/vsis3/some/a.tif"),
        "netcdf.vrt": _vrt(f'NETCDF:"{url}/a.nc":z'),
        "netcdf_bare.vrt": _vrt(f"NETCDF:{url}/a.nc:z"),
        "dap.vrt": _vrt(f'NETCDF:"dods://{url.partition("://")[2]}/a":z'),
        "zarr.vrt": _vrt(f'ZARR:"/vsicurl/{url}/a.zarr":/z'),
        "zarr_address.vrt": _vrt(f"ZARR:{url}/a.zarr"),
        "hdf.vrt": _vrt(f'HDF5:"/vsicurl/{url}/a.h5"://z'),
        "service.vrt": _vrt(f"WMS:{url}/?SERVICE=WMS&VERSION=1.1.1&REQUEST=GetMap&LAYERS=a&SRS=EPSG:4326&BBOX=0,0,1,1"),
        "tiles_named.vrt": _vrt(f"WMTS:{url}/a.xml,layer=a"),
        "coverage_named.vrt": _vrt(f"WCS:{url}/?coverage=a"),
        "stac.vrt": _vrt(f'STACIT:"{url}/a.json"'),
        "features_named.vrt": _vrt(f"OGCAPI:{url}"),
        "vrt_in_name.vrt": _vrt(f"vrt://{curl}?bands=1"),
        "xml_in_name.vrt": _vrt(_tiles(url)),
        "vrt_xml_in_name.vrt": _vrt(_vrt(curl)),
        "tiles.vrt": _tiles(url),
        "tiles.tif": _tiles(url),
        "coverage.tif": f"<WCS_GDAL><ServiceURL>{url}/?</ServiceURL><CoverageName>a</CoverageName></WCS_GDAL>",
        "wmts.tif": f"<GDAL_WMTS><GetCapabilitiesUrl>{url}/caps.xml</GetCapabilitiesUrl></GDAL_WMTS>",
        "capabilities.tif": f'<Capabilities xmlns="http://www.opengis.net/wmts/1.0"><ServiceMetadataURL xlink:href="{url}"/></Capabilities>',
        "map_server.tif": f'<GDAL_WMS><Service name="AGS"><ServerUrl>{url}/MapServer</ServerUrl></Service></GDAL_WMS>',
        "warped.vrt": _HEAD.format(kind=' subClass="VRTWarpedDataset"')
        + '<VRTRasterBand dataType="Float32" band="1" subClass="VRTWarpedRasterBand"/><BlockXSize>64</BlockXSize><BlockYSize>64</BlockYSize>'
        f'<GDALWarpOptions><SourceDataset relativeToVRT="0">{curl}</SourceDataset></GDALWarpOptions></VRTDataset>',
        "processed.vrt": '<VRTDataset subClass="VRTProcessedDataset"><Input>'
        f'<SourceFilename relativeToVRT="0">{curl}</SourceFilename></Input></VRTDataset>',
        "nested.vrt": _vrt(str(folder / "curl.vrt")),
        "index.vrt": f"<GDALTileIndexDataset><IndexDataset>/vsicurl/{url}/a.gpkg</IndexDataset></GDALTileIndexDataset>",
        "index.gti": f"<GDALTileIndexDataset><IndexDataset>/vsicurl/{url}/a.gpkg</IndexDataset></GDALTileIndexDataset>",
        "stac.tif": json.dumps({"type": "FeatureCollection", "stac_version": "1.0.0", "features": [
            {"type": "Feature", "stac_version": "1.0.0", "id": "a", "geometry": None, "properties": {"proj:epsg": 32631,
             "proj:transform": [2, 0, 500000, 0, -2, 5000000], "proj:shape": [64, 64]},
             "assets": {"data": {"href": f"{url}/a.tif", "type": "image/tiff"}}}]}),
        "overlay.tif": f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><GroundOverlay><Icon><href>{url}/a.png</href></Icon>'
        "<LatLonBox><north>1</north><south>0</south><east>1</east><west>0</west></LatLonBox></GroundOverlay></Document></kml>",
    }  # fmt: skip
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    places = gpd.GeoDataFrame(
        {"location": [curl, f'NETCDF:"{url}/a.nc":z']},
        geometry=[box(500000, 4999872, 500128, 5000000)] * 2,
        crs="EPSG:32631",
    )
    places.to_file(folder / "places.gti.gpkg", driver="GPKG")
    (folder / "places.gti").write_text(
        "<GDALTileIndexDataset><IndexDataset>places.gti.gpkg</IndexDataset><LocationField>location</LocationField></GDALTileIndexDataset>"
    )
    sided = ("overview_named.tif", "overview_said.tif", "overview_beside.tif", "mask_beside.tif")
    for name in sided:
        profile = {
            "driver": "GTiff",
            "width": 64,
            "height": 64,
            "count": 1,
            "dtype": "float32",
            "crs": "EPSG:32631",
        }
        with rasterio.open(
            folder / name, "w", transform=rasterio.Affine(2, 0, 5e5, 0, -2, 5e6), **profile
        ) as out:
            out.write(np.arange(-4096, 0, dtype="float32").reshape(1, 64, 64))
            if name == "overview_said.tif":
                out.update_tags(ns="OVERVIEWS", OVERVIEW_FILE=f'NETCDF:"{url}/a.nc":z')
    (folder / "overview_named.tif.aux.xml").write_text(
        f'<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">/vsicurl/{url}/a.ovr</MDI></Metadata></PAMDataset>'
    )
    (folder / "overview_beside.tif.ovr").write_text(texts["netcdf.vrt"])
    (folder / "mask_beside.tif.msk").write_text(texts["netcdf.vrt"])
    return [folder / name for name in (*texts, *sided, "places.gti.gpkg", "places.gti")]


def vectors(folder: Path, url: str) -> list[Path]:
    """Write the baits that call themselves logs or outlines; see `grids`."""
    stream = json.dumps(
        {
            "type": "gdal_streamed_alg",
            "command_line": f"gdal vector pipeline ! read {url}/a.geojson ! make-valid",
        }
    )
    points = [
        {"type": "Feature", "properties": {"depth": 3}, "geometry": {"type": "Point", "coordinates": [1, 2]}}
    ]
    texts = {
        "streamed.json": stream,
        "streamed.geojson": stream,
        "streamed.gdalg.json": stream,
        "link.geojson": json.dumps({"type": "FeatureCollection", "crs": {"type": "link", "properties": {
            "href": f"{url}/crs.prj", "type": "esriwkt"}}, "features": points}),
        "url.geojson": json.dumps({"type": "FeatureCollection", "crs": {"type": "url", "properties": {"url": url}}, "features": points}),
        "one.geojson": json.dumps({**points[0], "crs": {"type": "link", "properties": {"href": url}}}),
        "topology.json": json.dumps({"type": "Topology", "objects": {}, "arcs": [], "crs": {"type": "link", "properties": {"href": url}}}),
        "address.kml": f"<OGRVRTDataSource><OGRVRTLayer name='a'><SrcDataSource>{url}/a.geojson</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
        "curl.gml": f"<OGRVRTDataSource><OGRVRTLayer name='a'><SrcDataSource>/vsicurl/{url}/a.gpkg</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
        "features.gml": f"<OGRWFSDataSource><URL>{url}/?</URL></OGRWFSDataSource>",
        "catalogue.gml": f"<OGRCSWDataSource><URL>{url}/?</URL></OGRCSWDataSource>",
        "api.json": json.dumps({"openapi": "3.0.0", "servers": [{"url": url}], "paths": {"/collections": {}}}),
        "network.kml": f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><NetworkLink><Link><href>{url}/a.kml</href></Link>'
        "</NetworkLink></Document></kml>",
        "style.kml": '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><styleUrl>'
        f"{url}/a.kml#s</styleUrl><Point><coordinates>1,2,-3</coordinates></Point></Placemark></Document></kml>",
        "schema.gml": f'<wfs:FeatureCollection xmlns:wfs="http://www.opengis.net/wfs" xmlns:gml="http://www.opengis.net/gml" xmlns:a="urn:a" '
        f'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation="urn:a {url}/a?SERVICE=WFS&amp;REQUEST=DescribeFeatureType&amp;TYPENAME=a:p">'
        '<gml:featureMember><a:p><a:g><gml:Point srsName="EPSG:4326"><gml:pos>1 2</gml:pos></gml:Point></a:g></a:p></gml:featureMember>'
        "</wfs:FeatureCollection>",
        "feed.gml": f'<rss version="2.0"><channel><item><link>{url}/a</link></item></channel></rss>',
        "pages.json": json.dumps({"objectIdFieldName": "OBJECTID", "geometryType": "esriGeometryPoint", "exceededTransferLimit": True,
            "spatialReference": {"wkid": 4326}, "fields": [], "features": [{"attributes": {}, "geometry": {"x": 1, "y": 2}}],
            "links": [{"rel": "next", "href": f"{url}/a"}]}),
    }  # fmt: skip
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return [folder / name for name in texts]
