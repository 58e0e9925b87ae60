"""The cheapest change that makes a donor fit, and what may not be touched.

In: an `AdaptationQuestion` (what is measured, what is known of duty, material and zones) and the geometry's answers.
Out: jobs with sizes, cost and the proof that nothing cheaper does; the donor as it is after them; the bench sheet.
The pipeline asks for the work and what goes with it, commands for the steps of the bench sheet. Each module is imported
by its name: a check loads only those that it enters.
"""
