"""SCPI instruments."""
