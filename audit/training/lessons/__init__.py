"""Lessons: sheets of annotated examples for print and page, and the course of ten lessons."""
