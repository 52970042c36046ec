"""Printed and readable papers: the HTML report of a check. Templates and plots load only when one is made."""
