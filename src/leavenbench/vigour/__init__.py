"""Vigour: each refeed against the culture's own baseline at the same step."""
