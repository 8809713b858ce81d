"""The running session as a local web page: no build step, no network beyond this computer's own.

``app`` is the Starlette application, ``guard`` decides who may ask, ``hub`` hands states to every open page, ``server``
runs it, ``static`` is what the browser gets. The page shows and changes nothing: it knows GET and HEAD only.
"""
