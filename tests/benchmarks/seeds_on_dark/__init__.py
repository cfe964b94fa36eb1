"""Photographs of seeds, beans and nuts on dark ground, drawn from heights and light."""
