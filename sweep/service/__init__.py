"""The service: studies, runs, fronts, sheets and builds over HTTP."""
