"""physiology"""
