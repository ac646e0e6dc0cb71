"""Draw the layers of a styled GeoPackage as two GIS libraries do; run by a Python that has them.

    python3 gis_render.py qml|sld STYLED.gpkg OUT.png WEST SOUTH EAST NORTH PIXELS TURN_DEG LAYER...

`qml` reads the styles by QGIS's library, `sld` by that of MapServer, which does not turn. The first layer is on top.
"""

import os
import sqlite3
import sys


def draw_qml(source, out, bounds, pixels, turn_deg, names):
    """Each layer with the style that is its default."""
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    from qgis.core import (
        QgsApplication,
        QgsExpressionContext,
        QgsExpressionContextUtils,
        QgsMapRendererSequentialJob,
        QgsMapSettings,
        QgsRectangle,
        QgsVectorLayer,
    )
    from qgis.PyQt.QtCore import QSize
    from qgis.PyQt.QtGui import QColor

    application = QgsApplication([], False)
    application.initQgis()
    layers = [QgsVectorLayer(f"{source}|layername={name}", name, "ogr") for name in names]
    for layer in layers:
        message, was_found = layer.loadDefaultStyle()
        if not was_found:
            sys.exit(message)
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setDestinationCrs(layers[0].crs())
    settings.setBackgroundColor(QColor("white"))
    settings.setOutputSize(QSize(pixels, pixels))
    settings.setExtent(QgsRectangle(*bounds))
    settings.setRotation(turn_deg)
    # The program tells its expressions how the map is turned; so must whoever draws without it.
    context = QgsExpressionContext()
    context.appendScope(QgsExpressionContextUtils.mapSettingsScope(settings))
    settings.setExpressionContext(context)
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    job.renderedImage().save(out)


def draw_sld(source, out, bounds, pixels, names):
    """Each layer with the SLD that stands beside it."""
    import mapscript

    with sqlite3.connect(source) as base:
        styles = dict(base.execute("SELECT f_table_name, styleSLD FROM layer_styles").fetchall())
    drawn = mapscript.mapObj()
    drawn.setSize(pixels, pixels)
    drawn.units = mapscript.MS_METERS
    drawn.imagecolor.setRGB(255, 255, 255)
    drawn.selectOutputFormat("png24")
    drawn.setExtent(*bounds)
    kinds = {"point": mapscript.MS_LAYER_POINT, "line": mapscript.MS_LAYER_LINE, "area": mapscript.MS_LAYER_POLYGON}
    for name in reversed(names):
        layer = mapscript.layerObj(drawn)
        layer.name, layer.data, layer.connection = name, name, source
        layer.type = kinds[name.rpartition("_")[2]]
        layer.status = mapscript.MS_ON
        layer.setConnectionType(mapscript.MS_OGR, "")
        layer.applySLD(styles[name], name)
    drawn.draw().save(out)


if __name__ == "__main__":
    kind, source, out, *numbers = sys.argv[1:10]
    bounds, pixels = tuple(map(float, numbers[:4])), int(numbers[4])
    if kind == "qml":
        draw_qml(source, out, bounds, pixels, float(numbers[5]), sys.argv[10:])
    else:
        draw_sld(source, out, bounds, pixels, sys.argv[10:])
