"""Pictures as SVG text: marks, the ladder and the coronary map; no Django, no model, no style and no script.

Colours come from the page's variables by class (`static/registry/drawings.css`), so a strict content policy holds.
`svg` < `lettering` < `marks`, `ladder_story` < `ladder_words` < `ladder_picture`; `coronary_plan` < `coronary_map`.
"""
