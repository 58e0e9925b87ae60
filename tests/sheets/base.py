"""A faultless invented build, and ways to spoil one cell of it."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from partkin.sheets.loading import Loaded, read

BASE: dict[str, str] = {
    "build.toml": '[build]\nname = "invented"\ncurrency = "EUR"\nlabour_rate = 40\nconfidence = 0.95\n',
    "models.csv": """\
model,maker,platform,first_year,last_year,note
one,Invented,px,2010,2015,invented
two,Invented,px,2012,2017,invented
""",
    "parts.csv": """\
part,name,model,part_number,replaces,origin,takes_place_of,part_of,hand,drive,seen_from,duty,airbag,broken_by,material,thickness_mm,mass_kg,finish,flex_mm,flex_in_plane,note
frame,carrier,one,,,host,,,,left,outside,structural,,,steel,,12,,,,invented
old,top as it was,one,PN-1,,original,frame,,,left,outside,trim,,airbag,plastic,2.5,4,,,,invented
new,top,two,PN-2,PN-1;PN-0,donor,frame,dash,,left,inside,trim,yes,,plastic,2.5,4.2,grey,1.5,no,invented
dash,whole dashboard,two,,,donor,,,,left,,,,,,,,,,,invented
""",
    "features.csv": """\
part,feature,kind,across_mm,length_mm,angle_deg,float_mm,thread,fastener_mm,x_mm,y_mm,z_mm,plus_minus_mm,goes_on,need,zone,axis_x,axis_y,axis_z
frame,F1,stud,,,,,M6x1,,0,0,,0.5,,must,,,,
frame,F2,captive nut,,,,1.5,M6x1,,300,0,,0.5,,must,,0,0,2
old,o1,hole,7,,,,,6,10,10,,0.5,F1,,,,,
old,o2,slot,7,12,0,,,6,310,10,,0.5,F2,,,,,
new,a,hole,7,,,,,,0,0,,0.5,F1,,,,,
new,b,slot,7,12,-5,,,,300.4,0,,,F2,should,seam,,,
""",
    "readings.csv": """\
part,reading,quantity,from,to,value,unit,plus_minus,instrument,by,on,corrects,note
new,r1,centres,a,b,300.9,mm,1,tape,me,2024-05-31,,invented
new,r2,across,a,,7.1,mm,,caliper,me,2024-05-31,,invented
new,r3,length,b,,12,mm,,caliper,me,2024-05-31,,invented
new,r4,mass,,,4.2,kg,,,me,2024-06-01,,invented
new,r5,centres,a,b,300.5,mm,1,tape,me,2024-06-01,r1,invented
""",
    "offers.csv": """\
option,part,price,shipping,seller,on,available,hours,note
donor,new,240,35,somebody,2024-05-31,yes,1.5,invented
repair,,80,,,,,6,invented
""",
    "costs.csv": """\
on,what,part,amount,note
2024-05-31,clips,new,3.5,invented
2024-06-02,clips sent back,,-3.5,invented
""",
    "neighbours.csv": """\
part,edge,neighbour,gap_mm,gap_min_mm,gap_max_mm
new,front,windscreen,5,3,8
""",
    "zones.csv": """\
part,zone,kind,point,x_mm,y_mm
new,seam,tear seam,1,100,20
new,seam,tear seam,2,200,20
new,box,keep clear,1,0,50
new,box,keep clear,2,10,50
new,box,keep clear,3,10,60
""",
    "outlines.csv": """\
part,kind,name,point,x_mm,y_mm
new,edge,,1,-10,-10
new,edge,,2,310,-10
new,edge,,3,310,90
new,edge,,4,-10,90
""",
    "connectors.csv": """\
part,connector,ways,keyed_as,need
new,speaker,4,A,must
old,speaker,4,A,
""",
    "held_by.csv": """\
part,held_to,fastener,kind,count,thread,tool,minutes,behind,place,caution,certain,torque_nm,single_use,note
old,frame,bolt-1,bolt,4,M6x1,10 mm socket,2,clip-1,cabin,,yes,9,no,invented
old,frame,clip-1,clip,6,,trim tool,1,,cabin,heavy;glass,guess,,yes,invented
dash,frame,bolt-2,bolt,2,,,3,old;bolt-1|clip-1,cabin,,yes,,,invented
""",
    "looks.csv": """\
part,beside,looks,picture,on,note
new,frame,alike,listing.jpg,2024-05-30,invented
""",
    "outcomes.csv": """\
donor,on,verdict_then,chance_then,happened,note
new,2024-06-10,bolts on,0.97,it went on,invented
""",
}


def contents(changes: Mapping[str, str | bytes | None] | None = None) -> dict[str, bytes]:
    """The build's files as bytes, with some of them replaced; None: left out."""
    files: dict[str, bytes] = {}
    for name, text in {**BASE, **(changes or {})}.items():
        if text is not None:
            files[name] = text if isinstance(text, bytes) else text.encode()
    return files


def spoiled(sheet: str, cells: Mapping[tuple[int, str], str]) -> dict[str, bytes]:
    """The build's files with some cells of one sheet changed, by row (as a spreadsheet counts) and column."""
    rows = list(csv.reader(io.StringIO(BASE[sheet], newline="")))
    for (row, column), text in cells.items():
        while len(rows) < row:
            rows.append([""] * len(rows[0]))
        rows[row - 1][rows[0].index(column)] = text
    written = io.StringIO(newline="")
    csv.writer(written, lineterminator="\n").writerows(rows)
    return contents({sheet: written.getvalue()})


def places(loaded: Loaded) -> list[str]:
    """Where the faults are, as sheet:row:column."""
    return [f"{one.sheet}:{one.row}:{one.column}" for one in loaded.problems]


def warned(loaded: Loaded) -> list[str]:
    """Where the warnings are, as sheet:row:column."""
    return [f"{one.sheet}:{one.row}:{one.column}" for one in loaded.warnings]


def read_spoiled(sheet: str, cells: Mapping[tuple[int, str], str]) -> Loaded:
    """Read the build with some cells of one sheet changed."""
    return read(spoiled(sheet, cells))
