"""The report of a survey as one HTML page, pictures inside; from facts and bytes to text."""

from __future__ import annotations

import base64
from typing import Any

from jinja2 import Environment

from reefscan.base.degrees import position_words
from reefscan.base.units import METRES_PER, far_unit, three_figures

_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="generator" content="reefscan"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Survey report: {{ f.out }}</title>
<style>
:root { color-scheme: light; }
body { font: 15px/1.5 system-ui, sans-serif; color: #1d2a30; background: #fbfaf7; margin: 0 auto; max-width: 62rem; padding: 1.2rem; }
h1 { font-size: 1.5rem; margin: 0 0 .2rem; } h2 { font-size: 1.1rem; margin: 2rem 0 .4rem; border-bottom: 1px solid #cfd6d6; }
p.lead { margin: .2rem 0 1rem; color: #47575e; }
table { border-collapse: collapse; margin: .4rem 0; font-size: .9rem; } th, td { text-align: left; padding: .25rem .8rem .25rem 0; vertical-align: top; }
th { font-weight: 600; color: #47575e; border-bottom: 1px solid #cfd6d6; } td.n, th.n { text-align: right; font-variant-numeric: tabular-nums; }
figure { margin: .8rem 0; } img { max-width: 100%; height: auto; } figcaption { font-size: .85rem; color: #47575e; }
p.sum { margin: .2rem 0; font-size: 1.05rem; }
.warn { background: #fdf0d5; border-left: 4px solid #d18b00; padding: .5rem .8rem; margin: .6rem 0; }
dl { display: grid; grid-template-columns: repeat(auto-fit, minmax(10rem, 1fr)); gap: .6rem; margin: .6rem 0; }
dl div { background: #eef2f1; padding: .5rem .7rem; border-radius: .3rem; } dt { font-size: .8rem; color: #47575e; } dd { margin: 0; font-size: 1.15rem; }
pre { background: #f1f0ec; padding: .8rem; overflow-x: auto; font-size: .8rem; }
</style></head><body>
<h1>Survey report</h1>
<p class="lead">{{ f.out }} &middot; {{ f.crs }} &middot; cells of {{ f.cell_m | far }}</p>
{% for line in f.summary %}<p class="sum">{{ line }}</p>{% endfor %}
<p class="warn">{{ f.caution }}</p>
{% for w in f.warnings %}<p class="warn">{{ w }}</p>{% endfor %}
<dl>
<div><dt>soundings read</dt><dd>{{ "{:,}".format(f.soundings.read) }}</dd></div>
<div><dt>used</dt><dd>{{ "{:,}".format(f.soundings.kept) }}</dd></div>
<div><dt>set aside</dt><dd>{{ "{:,}".format(f.soundings.read - f.soundings.kept) }}</dd></div>
<div><dt>ground covered</dt><dd>{{ f.covered_km2 }} km&sup2;</dd></div>
<div><dt>depths</dt><dd>{{ f.depth_m[0] | deep }} to {{ f.depth_m[1] | deep }} {{ unit }}</dd></div>
<div><dt>between tracks</dt><dd>{{ f.gap_m | far }}</dd></div>
</dl>
<figure><img alt="Map of depth" src="{{ p.depth }}"><figcaption>Depth below {{ f.datum or "the datum, which nothing names" }}. Grey: nothing is known; no ground is drawn farther than {{ f.reach_m | far }} from a sounding.</figcaption></figure>

<h2>What was read</h2>
<table><tr><th>file</th><th class="n">soundings</th><th class="n">lines not usable</th><th>measured from</th><th>remarks</th></tr>
{% for r in f.files %}<tr><td>{{ r.name }}</td><td class="n">{{ "{:,}".format(r.soundings) }}</td><td class="n">{{ r.unusable }}</td><td>{{ r.reference }}</td><td>{{ r.notes | join("; ") }}</td></tr>{% endfor %}</table>

<h2>What was set aside, and why</h2>
{% if f.set_aside %}<table><tr><th>rule</th><th class="n">soundings</th><th class="n">share</th><th>why</th></tr>
{% for r in f.set_aside %}<tr><td>{{ r.reason }}</td><td class="n">{{ "{:,}".format(r.soundings) }}</td><td class="n">{{ "%.2f" | format(100 * r.share) }} %</td><td>{{ r.why }}</td></tr>{% endfor %}</table>
{% else %}<p>Nothing.</p>{% endif %}
<p>{{ "{:,}".format(f.steep) }} soundings lie on ground that is steep for the beam. They are kept, but there the sounder reads the shallowest ground in its beam.
Every rule can be switched off in the settings below; nothing is deleted from your logs.</p>
<figure><img alt="Map of soundings set aside" src="{{ p.aside }}"></figure>
<figure><img alt="Profile of depths" src="{{ p.profile }}"></figure>

<h2>Corrections</h2>
{% if f.corrections %}<table><tr><th>what</th><th class="n">soundings</th><th class="n">mean change of depth ({{ unit }})</th><th>how</th></tr>
{% for r in f.corrections %}<tr><td>{{ r.what }}</td><td class="n">{{ "{:,}".format(r.soundings) }}</td><td class="n">{{ r.mean_m | deep("+.2f") }}</td><td>{{ r.how }}</td></tr>{% endfor %}</table>
{% else %}<p>None.</p>{% endif %}
{% if f.delay %}<p>Crossing tracks would agree better ({{ "%.0f" | format(100 * f.delay.gain) }} % less disagreement) if positions were moved by {{ f.delay.seconds }} s. Not applied; say <code>--latency {{ f.delay.seconds }}</code> if the clocks may differ.</p>{% endif %}

<h2>Where tracks cross</h2>
{% if f.crossings.after.count %}<table><tr><th></th><th class="n">crossings</th><th class="n">median ({{ unit }})</th><th class="n">spread without outliers ({{ unit }})</th><th class="n">root mean square ({{ unit }})</th><th class="n">largest ({{ unit }})</th><th class="n">special</th><th class="n">1a</th><th class="n">2</th></tr>
{% for name, c in [("as read, cleaned", f.crossings.before), ("reduced", f.crossings.after)] %}{% if c.count %}<tr><td>{{ name }}</td><td class="n">{{ c.count }}</td><td class="n">{{ c.median_m | deep("+.2f") }}</td><td class="n">{{ c.robust_sd_m | deep }}</td><td class="n">{{ c.rms_m | deep }}</td><td class="n">{{ c.largest_m | deep }}</td>{% for o in ["special", "1a", "2"] %}<td class="n">{{ "%.0f" | format(100 * c.within_tvu[o]) }} %</td>{% endfor %}</tr>{% endif %}{% endfor %}</table>
<p>Differences of depth where two tracks cross. The last columns: how many of them are within &radic;2 times the vertical uncertainty that IHO S-44 (6.1.0) allows for its orders special, 1a and 2. They tell how well soundings agree, not whether the survey meets an order.</p>
<figure><img alt="Histogram of crossing differences" src="{{ p.crossings }}"></figure>
{% else %}<p>No track crosses another: nothing in the logs checks them against each other. A line or two across the others would.</p>{% endif %}

<h2>The grid checked with soundings that were left out</h2>
{% if f.validation.left_out %}<p>The soundings of {{ "{:,}".format(f.validation.left_out) }} cells were left out, square by square, and the grid was drawn without them. It missed them by {{ f.validation.rms_m | deep }} {{ unit }} (root mean square;
median {{ f.validation.median_m | deep("+.2f") }} {{ unit }}). Each miss divided by the uncertainty that the grid states spreads by {{ "%.2f" | format(f.validation.spread) }}: 1 is right, more means that the grid is less sure than it says. Squares from which the uncertainty was learnt are not in it.</p>
<table><tr><th>surface</th><th class="n">side of a block (cells)</th><th class="n">missed by on the roughest tenth ({{ unit }})</th></tr>{% for r in f.validation.table %}<tr><td>{{ r.method }}{% if r.method == f.validation.method and r.block_cells == f.validation.block_cells %} (chosen){% endif %}</td><td class="n">{{ r.block_cells }}</td><td class="n">{{ r.rms_m | deep(".3f") }}</td></tr>{% endfor %}</table>
<figure><img alt="Histogram of standardised misses" src="{{ p.residuals }}"></figure>
{% else %}<p>Too few soundings, or tracks too thin, to leave any out: the uncertainty is a stated guess, not a measurement.</p>{% endif %}

{% if f.onto %}<h2>Set into {{ f.onto.name }}</h2>
<p>{{ "{:,}".format(f.onto.cells) }} shared cells; own ground lies {{ f.onto.bias_m | deep("+.2f") }} {{ unit }} against it (median{% if f.onto.spread_m is not none %}, spread {{ f.onto.spread_m | deep }} {{ unit }}{% endif %}) and was moved by that much, onto the public grid's datum.</p>{% endif %}

<h2>What to survey next</h2>
<figure><img alt="Map of uncertainty with lines to run" src="{{ p.uncertainty }}"></figure>
{% if f.next_lines %}<table><tr><th class="n">line</th><th>from</th><th>to</th><th class="n">length</th></tr>
{% for r in f.next_lines %}<tr><td class="n">{{ r.line }}</td><td>{{ position_words(r.from[0], r.from[1]) }}</td><td>{{ position_words(r.to[0], r.to[1]) }}</td><td class="n">{{ r.length_m | far }}</td></tr>{% endfor %}</table>
<p>These lines run where the grid is least sure near ground that stands out. In this order they are {{ f.next_total_m | far }} long, with the ways between them. Check the chart for dangers before you run a line.</p>
{% else %}<p>No line stands out.</p>{% endif %}

<h2>Settings</h2><pre>{{ f.settings }}</pre>
</body></html>
"""


def survey_report(facts: dict[str, Any], pictures: dict[str, bytes], *, unit: str = "m") -> str:
    """Fill the page.

    Parameters
    ----------
    facts : dict
        What ``own.report.json`` holds.
    pictures : dict of str to bytes
        PNG by name: depth, uncertainty, aside, profile and, where there are any, crossings, residuals.

    unit : {"m", "ft", "fathom"}
        Of depths; lengths on the map are in feet for the last two.

    Returns
    -------
    str
        One HTML document that needs no other file.
    """
    inline = {k: "data:image/png;base64," + base64.b64encode(v).decode() for k, v in pictures.items()}
    environment = Environment(autoescape=True, trim_blocks=False)
    along = far_unit(unit)
    environment.filters["deep"] = lambda metres, form=".2f": f"{metres / METRES_PER[unit]:{form}}"
    environment.filters["far"] = lambda metres: f"{three_figures(metres / METRES_PER[along])} {along}"
    page = environment.from_string(_PAGE)
    return page.render(f=facts, p=inline, unit=unit, position_words=position_words)
