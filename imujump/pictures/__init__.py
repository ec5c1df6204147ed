"""Small pictures as SVG, without script or style of their own.

Colours come from the page: elements carry classes (``mark``, ``reach``, ``band`` …), for which
:data:`imujump.pictures.paper.STYLE` has rules in terms of ``--ink``, ``--soft``, ``--line``,
``--left`` and ``--right``. Every text from outside is escaped. All functions
return ``""`` when there is nothing to draw.
"""
