"""The report for people: pages of HTML that need no script, made from the journal alone.

    report.html           ready or not, what to do, every case that did not pass
    report.css            the one style sheet
    report/plan-01-….html every case and check of a plan
    report/case-….svg     what was seen of a signal that did not do what was wanted
    sheet.html            hil.report.page.sheet: one page to be signed

The pages obey `sandbox; default-src 'none'; img-src 'self'; style-src 'self'`, the rules under
which build servers show what a job has left: no script, no style in the page, no style in pictures.
"""
