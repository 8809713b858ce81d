"""Reports: a session or an athlete's weeks as one HTML file that needs nothing else.

``session_report`` and ``athlete_report`` give the file's bytes. Numbers come from the store as they are; only
the curves are worked out anew, from the raw edges (``motion``). Nothing in a report is medical advice.
"""

from brakebeat.report.athlete_report import athlete_report
from brakebeat.report.session_report import session_report

__all__ = ["athlete_report", "session_report"]
