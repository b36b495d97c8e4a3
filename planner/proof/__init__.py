"""The proof document: what a plan rests on, written out so that an auditor can confirm it (`planner.audit`)."""
